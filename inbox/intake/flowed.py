"""format=flowed (RFC 3676): lines that a mail program broke are put together again."""


def unflow(text: str, *, del_sp: bool = False) -> str:
    """`text` with soft line breaks undone; quote depth is shown by ">" and a space before the paragraph.

    A line that ends in a space goes on in the next one of the same quote depth; where the depth changes,
    the depth wins (section 4.5). The signature line "-- " never flows.

    Parameters
    ----------
    text : str
        Lines with LF.
    del_sp : bool
        Whether the space before a soft break is dropped (DelSp=yes).
    """
    paragraphs: list[str] = []
    pending, pending_depth = "", -1
    for line in text.split("\n"):
        depth = len(line) - len(line.lstrip(">"))
        content = line[depth:]
        if content.startswith(" "):
            content = content[1:]
        if pending_depth >= 0 and (depth != pending_depth or content == "-- "):
            paragraphs.append(_marked(pending.rstrip(" "), pending_depth))
            pending, pending_depth = "", -1
        if content.endswith(" ") and content != "-- ":
            pending += content[:-1] if del_sp else content
            pending_depth = depth
            continue
        paragraphs.append(_marked(pending + content, depth))
        pending, pending_depth = "", -1
    if pending_depth >= 0:
        paragraphs.append(_marked(pending.rstrip(" "), pending_depth))
    return "\n".join(paragraphs)


def _marked(content: str, depth: int) -> str:
    return f"{'>' * depth} {content}" if depth else content
