"""The committed viewer is what its sources give, byte for byte, and carries nothing that reaches out."""

import json
import re
import shutil
import subprocess
from hashlib import sha256
from pathlib import Path

import pytest
from browser import VIEWER

BUILT = VIEWER / "viewer.js"


def test_the_sources_give_the_committed_file(modules: Path) -> None:
    folder = modules.parent
    shutil.copytree(VIEWER / "src", folder / "src")
    done = subprocess.run(["npm", "run", "build"], cwd=folder, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    assert (folder / "viewer.js").read_bytes() == BUILT.read_bytes()


def test_its_hash_is_the_one_on_record() -> None:
    assert sha256(BUILT.read_bytes()).hexdigest() == (VIEWER / "viewer.sha256").read_text().split()[0]


def test_the_licence_beside_it_is_the_library_s_own(modules: Path) -> None:
    assert (VIEWER / "three-license.txt").read_text() == (modules / "three" / "LICENSE").read_text()
    assert "@license" in BUILT.read_text(encoding="utf-8")


def test_it_evaluates_no_text_fetches_nothing_and_ends_no_script_element() -> None:
    """The only addresses in it are XML namespaces (W3C), which are names and are never fetched."""
    text = BUILT.read_text(encoding="utf-8")
    assert not re.search(r"\beval\s*\(|new Function|\bimport\s*\(|XMLHttpRequest|\bfetch\s*\(|WebSocket", text)
    namespaces = {"http://www.w3.org/1999/xhtml", "http://www.w3.org/2000/svg"}
    assert set(re.findall(r"https?://[\w./#-]+", text)) <= namespaces
    assert "</script" not in text
    assert "<!--" not in text
    assert "\r" not in text


def test_every_package_is_pinned_exactly() -> None:
    package = json.loads((VIEWER / "package.json").read_text())
    lock = json.loads((VIEWER / "package-lock.json").read_text())
    for name, version in {**package["dependencies"], **package["devDependencies"]}.items():
        assert re.fullmatch(r"\d+\.\d+\.\d+", version), name
        assert lock["packages"][f"node_modules/{name}"]["version"] == version
    assert all(entry.get("integrity") for name, entry in lock["packages"].items() if name)


@pytest.mark.parametrize("name", ["viewer.js", "viewer.css", "three-license.txt"])
def test_it_is_shipped(name: str) -> None:
    import tomllib
    from fnmatch import fnmatch

    settings = tomllib.loads((VIEWER.parents[1] / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = settings["tool"]["setuptools"]["package-data"]["exporters"]
    assert any(fnmatch(f"viewer/{name}", pattern) for pattern in patterns)
