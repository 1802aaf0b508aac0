"""A book to put artwork on, pictures for it, and what of them is seen on its panels."""

from tests.geometry.scene_texts import HILL, cut_in, head, mechanism

DESCRIPTION = (
    head("Painted", "[100, 140]")
    + HILL
    + cut_in("step", body="at = 15; length = 30; width = 15")
    + mechanism("platform", "roof", "spine", "at = 105; length = 30; base = 15; height = 20; width = 20")
)


def picture(file, color, size=(80, 60)):
    from PIL import Image

    file.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", size, color).save(file)
    return file


def shown(item, slot=0):
    """The first pixel of the picture on one side of a panel, 0 to 255."""
    nodes = item.material_slots[slot].material.node_tree.nodes
    image = next((node.image for node in nodes if node.type == "TEX_IMAGE"), None)
    return None if image is None else tuple(round(255 * value) for value in image.pixels[:3])


def text(root):
    return root["hingeleaf_description"]
