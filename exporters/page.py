"""HTML pages that stand alone: text of a job is put in as text, and the page's own policy forbids all else."""

import re
from base64 import b64encode
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railmodel.fingerprint import fingerprint, short
from railmodel.frame import Frame

if TYPE_CHECKING:
    from markupsafe import Markup

_HERE = Path(__file__).resolve().parent
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def page(template: str, frame: Frame, *, style: str, scripts: Sequence[str] = (), **shown: Any) -> str:
    """A page of a job.

    Args:
        template: its file in `pages`.
        frame: the job.
        style: its style sheet.
        scripts: its scripts, in the order they run.
        shown: more that the template names.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    words = Words(frame)
    room = Environment(
        loader=FileSystemLoader(_HERE / "pages"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    room.filters |= {"name": words.name, "said": words.said}
    inlined = [script.replace("</script", "<\\/script").replace("<!--", "<\\!--") for script in scripts]
    return room.get_template(template).render(
        policy=_policy(style, inlined),
        style=Markup(style),
        scripts=[Markup(script) for script in inlined],
        job=frame.job,
        revision=frame.job.revision or "-",
        mark=short(fingerprint(frame)),
        **shown,
    )


def shipped(name: str) -> str:
    """A file that comes with the package, with the line ends that a browser reads in a page."""
    return (_HERE / name).read_text(encoding="utf-8").replace("\r\n", "\n")


class Words:
    """Text of a job made safe for a page: every name in an isolate of its own, whatever way it is written."""

    def __init__(self, frame: Frame) -> None:
        job = frame.job
        names = {job.job, *job.tubes, *(part.name for part in frame.parts), *(part.name for part in job.parts)}
        names |= {one.name for some in (job.crossmembers, job.fit_points, job.keep_clear, job.plates) for one in some}
        if frame.shop is not None:
            names |= set(frame.shop.dies)
        pattern = "|".join(re.escape(name) for name in sorted(names, key=len, reverse=True) if name)
        self._names = re.compile(rf"(?<!\w)({pattern})(?!\w)")

    def name(self, text: object) -> "Markup":
        """One name or text of the job, isolated."""
        from markupsafe import Markup

        return Markup("<bdi>{}</bdi>").format(_CONTROL.sub("\ufffd", str(text)))

    def said(self, text: str) -> "Markup":
        """A sentence of the program with the names that stand in it isolated."""
        from markupsafe import Markup, escape

        pieces = self._names.split(text)
        return Markup("").join(
            self.name(piece) if i % 2 else escape(_CONTROL.sub("\ufffd", piece)) for i, piece in enumerate(pieces)
        )


def _policy(style: str, scripts: Sequence[str]) -> str:
    """What the page may do: run its own scripts and use its own style, each known by its hash, and nothing else."""
    runs = " ".join(_hash(script) for script in scripts) or "'none'"
    return f"default-src 'none'; script-src {runs}; style-src {_hash(style)}; base-uri 'none'; form-action 'none'"


def _hash(text: str) -> str:
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode('ascii')}'"
