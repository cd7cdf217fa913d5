"""HEIC, as many phones send photos, decoded in a process of its own that damaged files may kill."""

import io
import subprocess
import sys
from contextlib import suppress

SECONDS = 20
"""Time for one picture; a phone's takes about one."""
MEMORY_BYTES = 2_000_000_000
"""Memory that decoding may ask for; 60 million pixels take about a quarter of it."""
_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
"""Major brands of ISO/IEC 23008-12, from memory."""


def is_heic(content: bytes) -> bool:
    """Whether a file says of itself that it is HEIC."""
    return content[4:8] == b"ftyp" and content[8:12] in _BRANDS


def to_jpeg(content: bytes, *, pixel_limit: int, longest_side: int) -> bytes | None:
    """Turn a HEIC picture into an upright JPEG without metadata.

    The decoder is C and C++, and damaged files were seen to end the process that it runs in; so it gets one
    of its own, with limits of time and memory, and what it dies of costs that picture alone.

    Parameters
    ----------
    pixel_limit : int
        Pixels of the largest picture that is decoded.
    longest_side : int
        Pixels of the longer side of what comes back.

    Returns
    -------
    bytes or None
        None for what is damaged, too large, or took too long.
    """
    command = [sys.executable, "-P", __file__, str(pixel_limit), str(longest_side)]
    try:
        done = subprocess.run(  # noqa: S603  (our own file; the picture comes by its input)
            command, input=content, capture_output=True, timeout=SECONDS, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout if done.returncode == 0 and done.stdout else None


def _decode(content: bytes, pixel_limit: int, longest_side: int) -> bytes:
    import pi_heif
    from PIL import Image, ImageOps

    pi_heif.register_heif_opener(thumbnails=False)
    with Image.open(io.BytesIO(content), formats=["HEIF"]) as opened:
        if opened.width * opened.height > pixel_limit:
            return b""
        upright = ImageOps.exif_transpose(opened).convert("RGB")
    upright.thumbnail((longest_side, longest_side), Image.Resampling.LANCZOS)
    fresh = Image.new("RGB", upright.size)
    fresh.paste(upright)
    written = io.BytesIO()
    fresh.save(written, "JPEG", quality=92)
    return written.getvalue()


def _limit_this_process() -> None:
    with suppress(ImportError):  # Windows has no such limits
        import resource

        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


if __name__ == "__main__":
    _limit_this_process()
    sys.stdout.buffer.write(_decode(sys.stdin.buffer.read(), int(sys.argv[1]), int(sys.argv[2])))
