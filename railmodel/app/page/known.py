"""What the process beside the page has told about the job so far."""

from base64 import b64decode
from typing import Any

from railmodel.app.page.mesh_bank import MeshBank, Named, Packed

Message = dict[str, Any]


class Known:
    """Checks, plan, crossmembers and plates, each with the revision it was worked out for."""

    def __init__(self, bank: MeshBank) -> None:
        self._bank = bank
        self.checks: Message = {"rev": -1, "stage": "none", "says": "", "answer": None}
        self.plan: Message = {"rev": -1, "answer": None}
        self.parts: list[Message] = []
        self.meshes: list[Named] = []
        self.keys: dict[str, str] = {}
        self.rev = -1
        """The revision of parts, meshes and keys."""

    def hear(self, message: Message) -> None:
        """Take in what was told."""
        rev, stage = message["rev"], message["stage"]
        if stage == "failed":
            self.checks = {"rev": rev, "stage": "failed", "says": message["says"], "answer": None}
            self.plan = {"rev": rev, "answer": None}
            return
        self.checks = {"rev": rev, "stage": stage, "says": "", "answer": message["checks"]}
        if "plan" in message:
            self.plan = {"rev": rev, "answer": message["plan"]}
        if "late" in message:
            late = message["late"]
            self.parts, self.keys, self.rev = late["parts"], late["keys"], rev
            self.meshes = [self._held(mesh) for mesh in late["meshes"]]

    def fresh(self) -> None:
        """Keep the meshes of the latest crossmembers and plates from being forgotten."""
        for named in self.meshes:
            self._bank.touch(named.key)

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
