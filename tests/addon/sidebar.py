"""What a panel of the sidebar draws."""

from types import SimpleNamespace
from unittest.mock import MagicMock


def drawn(bpy, name):
    """Draw a panel into a stand-in for Blender's layout; returns the operators and the texts it asked for."""
    root = MagicMock()
    context = MagicMock(wraps=bpy.context)
    context.window_manager, context.scene = bpy.context.window_manager, bpy.context.scene
    context.view_layer = bpy.context.view_layer
    context.region.width, context.preferences.system.ui_scale = 280, 1.0
    getattr(bpy.types, f"HINGELEAF_PT_{name}").draw(SimpleNamespace(layout=root), context)
    operators, texts = [], []
    for path, words, options in root.mock_calls:
        if path.endswith("operator"):
            operators.append(words[0])
            assert hasattr(bpy.types, words[0].replace("hingeleaf.", "HINGELEAF_OT_"))
        if path.endswith(("label", "progress")):
            texts.append(options["text"])
    return operators, " ".join(texts)
