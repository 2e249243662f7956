"""A QR code (ISO/IEC 18004) as a picture."""

from functools import lru_cache


@lru_cache(maxsize=8)
def qr_svg(text: str) -> str:
    """A text as a QR code in SVG, black on white, with the quiet zone of four modules that the standard asks for."""
    import segno

    return str(segno.make(text, error="m", micro=False).svg_inline(border=4, light="white", omitsize=True))
