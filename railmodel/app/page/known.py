"""What the process beside the page has told about the job so far."""

from base64 import b64decode
from typing import Any

from railmodel.app.page.as_json import Ready, ready
from railmodel.app.page.mesh_bank import MeshBank, Named, Packed

Message = dict[str, Any]


class Known:
    """Checks, plan, crossmembers and plates, each with the revision it was worked out for."""

    def __init__(self, bank: MeshBank) -> None:
        self._bank = bank
        self.checks: Message = {"rev": -1, "stage": "none", "says": ""}
        self.plan: Message = {"rev": -1}
        self.answers = (ready(None), ready(None))
        """What `check` and what `plan` answer."""
        self.parts: list[Ready] = []
        self.meshes: list[Named] = []
        self.keys: dict[str, str] = {}
        self.rev = -1
        """The revision of parts, meshes and keys."""

    def hear(self, message: Message) -> None:
        """Take in what was told."""
        rev, stage = message["rev"], message["stage"]
        if stage == "failed":
            self.fail(rev, message["says"])
            return
        self.checks = {"rev": rev, "stage": stage, "says": ""}
        self.answers = (ready(message["checks"]), self.answers[1])
        if "plan" in message:
            self.plan = {"rev": rev}
            self.answers = (self.answers[0], ready(message["plan"]))
        if "late" in message:
            late = message["late"]
            self.parts, self.keys, self.rev = [ready(part) for part in late["parts"]], late["keys"], rev
            self.meshes = [self._held(mesh) for mesh in late["meshes"]]

    def fail(self, rev: int, says: str) -> None:
        """Note that nothing could be worked out."""
        self.checks, self.plan = {"rev": rev, "stage": "failed", "says": says}, {"rev": rev}
        self.answers = (ready(None), ready(None))

    def _held(self, mesh: Message) -> Named:
        packed = Packed(
            points=b64decode(mesh["points"]),
            normals=b64decode(mesh["normals"]),
            triangles=b64decode(mesh["triangles"]),
            vertices=mesh["vertices"],
            count=mesh["count"],
            wide=mesh["wide"],
        )
        self._bank.hold(mesh["key"], packed)
        return Named(mesh["id"], mesh["kind"], mesh["key"])
