"""SVG drawings and pictures nearly right."""

from __future__ import annotations

import io
import struct
import zlib
from random import Random

from PIL import Image

from tests.fuzz import edges
from tests.fuzz.toml_texts import path_data

_XML = [
    '<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>', "&b;", "&a;", "&lt;", "&#0;",
    '<!DOCTYPE svg SYSTEM "file:///etc/passwd">', '<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]>', "&x;",
    '<?xml version="1.0" encoding="utf-7"?>', '<?xml-stylesheet href="http://127.0.0.1/a.css"?>', "<!--", "-->",
    "<![CDATA[",
    "]]>", "<g>", "</g>", "<g>" * 150, "<g>" * 3000 + "</g>" * 3000, '<use href="#a"/>', '<use id="a" href="#a"/>',
    "\0",
    "\ud800".encode("utf-8", "surrogatepass").decode("latin-1"), "<style>*{fill:none}</style>",
    "<style>@import url(x)</style>",
    "<style>" + "a{" * 200 + "</style>", '<image href="file:///etc/passwd"/>', "<symbol>", "</symbol>", "<defs>",
    "</defs>",
    'transform="matrix(0 0 0 0 0 0)"', 'transform="rotate(nan)"', 'transform="scale(1e308)"', 'transform="skewX(90)"',
    'transform="' + "rotate(1)" * 500 + '"', 'width="100%"', 'height="-5em"', 'viewBox="0 0 0 0"',
    'viewBox="nan 0 1e309 1"',
    'display="none"', 'visibility="hidden"', 'preserveAspectRatio="none"', 'clip-path="url(#a)"',
    'stroke-width="1e999"',
]  # fmt: skip
_SHAPES = [
    '<path id="a" d="{path}"/>', '<rect x="{n}" y="{n}" width="{n}" height="{n}" rx="{n}"/>',
    '<line x1="{n}" y2="{n}"/>',
    '<circle cx="{n}" cy="{n}" r="{n}"/>', '<ellipse rx="{n}" ry="{n}"/>',
    '<polygon points="{n} {n} {n} {n} {n} {n}"/>',
    '<polyline points="{n},{n} {n},{n}"/>', '<use href="#a" x="{n}"/>', '<g transform="rotate({n}) scale({n},{n})">',
    '<svg width="{n}mm" height="{n}%" viewBox="0 0 {n} {n}">', "</svg>", '<text x="{n}">{t}</text>', '<g id="{t}">',
]  # fmt: skip

SVGS = [
    b'<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30"><path id="a" '
    b'd="M0 0L10 0C20 5 20 20 10 25Z"/><g transform="rotate(30) translate(3,4)"><rect width="10" height="5" rx="2"/>'
    b'<circle r="4" cx="8"/></g><defs><path id="b" d="M0 0a5 3 20 1 0 6 7z"/></defs><use href="#b" x="5"/></svg>',
    b'<?xml version="1.0"?><svg width="100" height="100"><style>.k{display:none}</style><polygon points="0,0 9,0 9,9"/>'
    b'<line x1="0" y1="0" x2="30" y2="40"/><ellipse rx="9" ry="3" class="k"/><text>word</text></svg>',
    b'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'
    b'<symbol id="s" viewBox="0 0 9 9">'
    b'<path d="M1 1H8V8Q4 9 1 8T1 1"/></symbol><use xlink:href="#s" width="20" height="20"/></svg>',
]


def changed_svg(rng: Random, data: bytes) -> bytes:
    """A drawing with some of its text changed."""
    text = data.decode("latin-1")
    for _ in range(rng.choice([1, 1, 2, 4, 8])):
        place = rng.randrange(len(text) + 1)
        what = rng.random()
        if what < 0.3:
            text = text[:place] + rng.choice(_XML) + text[place:]
        elif what < 0.65:
            shape = rng.choice(_SHAPES).replace("{path}", path_data(rng))
            while "{n}" in shape:
                shape = shape.replace("{n}", edges.number(rng) if rng.random() < 0.4 else str(rng.randrange(99)), 1)
            shape = shape.replace("{t}", edges.text(rng)[:50])
            at = text.find(">", place) + 1
            text = text[:at] + shape.encode("utf-8", "replace").decode("latin-1") + text[at:]
        elif what < 0.8:
            text = _number_changed(rng, text, place)
        elif what < 0.9:
            text = text[:place] + text[place + rng.choice([1, 1, 4, 30]) :]
        else:
            text = text[:place] + text[place : place + 40] * 2 + text[place:]
    return text.encode("latin-1", "replace")


def _number_changed(rng: Random, text: str, place: int) -> str:
    start = next((at for at in range(place, len(text)) if text[at].isdigit()), len(text))
    end = next((at for at in range(start, len(text)) if not text[at].isdigit()), len(text))
    return text[:start] + edges.number(rng) + text[end:]


def _picture(kind: str, mode: str = "RGBA", size: tuple[int, int] = (24, 20), **options: object) -> bytes:
    image = Image.new(mode, size)
    for x in range(5, size[0] - 5):
        for y in range(4, size[1] - 4):
            image.putpixel((x, y), (200, 30, 90, 255)[: len(mode)] if len(mode) > 1 else 200)
    found = io.BytesIO()
    image.save(found, kind, **options)
    return found.getvalue()


PICTURES = [
    _picture("PNG"),
    _picture("PNG", "LA"[:1]),
    _picture("PNG", "RGB", dpi=(300, 300)),
    _picture("JPEG", "RGB"),
    _picture("JPEG", "CMYK"),
    _picture("GIF", "RGB"),
    _picture("TIFF", "RGBA"),
    _picture("TIFF", "RGB", compression="tiff_lzw"),
    _picture("WEBP"),
    _picture("BMP", "RGB"),
    _picture("PPM", "RGB"),
    _picture("TGA"),
    _picture("ICO", size=(32, 32)),
    _picture("PCX", "RGB"),
    _picture("JPEG2000"),
    b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n%%EndComments\n(x) run\nshowpage\n",
]
_SIDES = [0, 1, 2, 3, 4, 255, 65535, 20_000, 100_000, 2**31 - 1, 2**31, 2**32 - 1]


def changed_picture(rng: Random, data: bytes) -> bytes:
    """A picture with bytes changed; of a PNG also its size and its parts, with sums that are right."""
    found = bytearray(data)
    if data[:8] == b"\x89PNG\r\n\x1a\n" and rng.random() < 0.5:
        return _changed_png(rng, data)
    for _ in range(rng.choice([1, 2, 4, 16])):
        if not found:
            break
        place = rng.randrange(min(len(found), rng.choice([32, 64, 100_000])))
        what = rng.random()
        if what < 0.5:
            found[place] = rng.choice([0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)])
        elif what < 0.75:
            value = rng.choice(_SIDES)
            form = rng.choice(["<I", ">I", "<H", ">H"])
            found[place : place + 4] = struct.pack(form, value & (0xFFFFFFFF if form[1] == "I" else 0xFFFF))
        elif what < 0.85:
            del found[place:]
        elif what < 0.95:
            del found[place : place + rng.randrange(1, 20)]
        else:
            found[place:place] = found[: rng.randrange(1, 200)]
    return bytes(found)


def _changed_png(rng: Random, data: bytes) -> bytes:
    parts, place = [], 8
    while place + 12 <= len(data):
        length = int.from_bytes(data[place : place + 4], "big")
        parts.append((data[place + 4 : place + 8], data[place + 8 : place + 8 + length]))
        place += 12 + length
    if not parts:
        return data
    index = rng.randrange(len(parts))
    name, body = parts[index]
    what = rng.random()
    if what < 0.4 and parts[0][0] == b"IHDR" and len(parts[0][1]) == 13:
        sides = struct.pack(">II", rng.choice(_SIDES), rng.choice(_SIDES))
        bits = bytes([rng.choice([1, 2, 4, 8, 16, 3]), rng.choice([0, 2, 3, 4, 6, 5]), 0, 0, rng.choice([0, 1])])
        parts[0] = (b"IHDR", sides + (bits if rng.random() < 0.5 else parts[0][1][8:]))
    elif what < 0.6:
        text = zlib.compress(b"\0" * rng.choice([10, 50_000_000]))
        new = rng.choice([(b"zTXt", b"a\0\0" + text), (b"iCCP", b"a\0\0" + text), (b"eXIf", body), (b"tRNS", body[:6])])
        parts.insert(rng.choice([1, index]), new)
    elif what < 0.8:
        parts[index] = (name, bytes(changed_picture(rng, body)))
    else:
        parts[index:index] = [parts[index]] if rng.random() < 0.5 else []
        del parts[index]
    found = bytearray(data[:8])
    for name, body in parts:
        found += len(body).to_bytes(4, "big") + name + body + zlib.crc32(name + body).to_bytes(4, "big")
    return bytes(found)
