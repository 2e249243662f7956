"""The cut list: what is cut from which stick, with boxes to tick."""

from collections.abc import Sequence
from pathlib import Path

from exporters.sheets.stopped import found_by, stopped_labels
from exporters.sheets.typeset import Data, typeset
from exporters.sheets.words import Paper, adding_up, head, paper_of, plain, section_words, tape, width_of
from railmodel.bending.cut_plan import CutPlan, Piece, Stick
from railmodel.bending.plan import plan_job
from railmodel.bending.work import shop_work
from railmodel.files import write_whole
from railmodel.findings import Finding
from railmodel.frame import Frame
from railmodel.tolerances import LENGTH


def write_cut_list(
    frame: Frame, path: Path, *, findings: Sequence[Finding] | None = None, paper: Paper | None = None
) -> None:
    """Write the cut list of a job as a PDF file, whole or not at all; see `write_bend_sheets`."""
    write_whole(path, typeset("cut_list", cut_list(frame, findings, paper)))


def cut_list(frame: Frame, findings: Sequence[Finding] | None = None, paper: Paper | None = None) -> Data:
    """What the cut list shows, tube by tube."""
    plan, chosen = plan_job(frame), paper_of(frame, paper)
    stopped = stopped_labels(frame, found_by(frame, findings))
    width = width_of(chosen)
    return {
        **head(frame, "Cut list", chosen),
        "tubes": [_tube(frame, tube, cuts, stopped, width) for tube, cuts in plan.cuts.items()],
        "no_stock": [_unplanned(frame, tube, stopped) for tube in plan.no_stock],
        "not_built": [fault.says for fault in frame.faults],
    }


def _tube(frame: Frame, tube: str, cuts: CutPlan, stopped: set[str], width: float) -> Data:
    part = next(part for part in frame.parts if part.tube == tube)
    longest = max((stick.stock.length for stick in cuts.sticks), default=1.0)
    return {
        "tube": section_words(frame, part),
        "says": cuts.says,
        "sticks": [_stick(frame, stick, stopped, width / longest) for stick in cuts.sticks],
        "left_out": [_piece(frame, piece, stopped) for piece in cuts.left_out],
    }


def _stick(frame: Frame, stick: Stick, stopped: set[str], point: float) -> Data:
    """One stick; `point` points on the paper stand for 1 mm of it."""
    stock, at = stick.stock, stick.stock.end_trim
    pieces = []
    for i, piece in enumerate(stick.pieces):
        pieces.append(_piece(frame, piece, stopped) | {"x": at * point, "width": piece.length * point})
        at += piece.length + (stock.kerf if i < stick.cuts else 0.0)
    source = "missing from the rack" if stick.missing else "to buy" if stick.bought else "from the rack"
    lengths = [stock.end_trim, sum(piece.length for piece in stick.pieces), stick.cuts * stock.kerf, stick.drop]
    trim, whole, kerfs, drop = adding_up(frame, lengths, stock.length, 1)
    return {
        "length": frame.say(stock.length),
        "source": source,
        "width": stock.length * point,
        "trim_width": stock.end_trim * point,
        "pieces": pieces,
        "drop": frame.mark(stick.drop),
        "drop_x": at * point,
        "drop_width": max(stick.drop * point, 0.0),
        "keep": stick.keep,
        "check": f"check: end trim {trim} + pieces {whole} + kerf of {stick.cuts} cut{'s' * (stick.cuts != 1)} {kerfs} "
        f"+ drop {drop} = {plain(frame, stock.length)}",
    }


def _piece(frame: Frame, piece: Piece, stopped: set[str]) -> Data:
    return {
        "label": piece.label,
        "length": [plain(frame, piece.length), tape(frame, piece.length)],
        "stopped": piece.label in stopped,
    }


def _unplanned(frame: Frame, tube: str, stopped: set[str]) -> Data:
    """The pieces of a tube that the shop file lists no sticks of."""
    own = [marks for marks in shop_work(frame).mark_outs if marks.reading.part.tube == tube]
    pieces = [Piece(marks.reading.part.label, marks.cut_length) for marks in own if marks.cut_length > LENGTH]
    return {
        "tube": section_words(frame, own[0].reading.part),
        "pieces": [_piece(frame, piece, stopped) for piece in pieces],
    }
