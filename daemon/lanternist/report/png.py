"""An SVG drawing as a PNG picture, through the extra `report`."""

from pathlib import Path


def png(svg: str, dots_per_mm: float = 6.0) -> bytes:
    """The picture of an SVG document whose size is in millimetres. Raises ModuleNotFoundError without the extra.

    Its letters come with us, so that it is the same on a machine without fonts.
    """
    import matplotlib as mpl
    import resvg_py

    fonts = str(Path(mpl.get_data_path()) / "fonts" / "ttf")
    return resvg_py.svg_to_bytes(svg_string=svg, dpi=dots_per_mm * 25.4, skip_system_fonts=True, font_dirs=[fonts])
