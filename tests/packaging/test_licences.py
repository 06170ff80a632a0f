"""What photocheck stands on, as told by `.ci/licences`, against what pyproject.toml declares."""

from __future__ import annotations

import json
import runpy
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.support.places import ROOT


def test_every_dependency_is_told_with_its_licence_and_in_the_bill(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = runpy.run_path(str(ROOT / ".ci" / "licences"))
    bom = tmp_path / "bom.json"
    assert command["main"](["--offline", "--bom", str(bom)]) == 0
    head, *rows = [line.split("\t") for line in capsys.readouterr().out.splitlines()]
    assert head == ["package", "version", "licence", "last release"]
    told = {row[0]: row for row in rows}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {canonicalize_name(Requirement(text).name) for text in project["dependencies"]}
    assert declared <= set(told)
    assert all(row[2] not in ("", "not known") for row in rows)
    # as their own pages say, of every version that is allowed
    for name, licence in {"numpy": "BSD", "streamlit": "Apache", "zxcvbn": "MIT"}.items():
        assert licence in told[name][2]
    # CycloneDX 1.5, its JSON schema's required properties
    made = json.loads(bom.read_text(encoding="utf-8"))
    assert (made["bomFormat"], made["specVersion"]) == ("CycloneDX", "1.5")
    assert {part["name"] for part in made["components"]} == set(told)
    ours = next(
        one for one in made["dependencies"] if one["ref"].startswith("pkg:pypi/photocheck@")
    )
    assert len(ours["dependsOn"]) >= len(project["dependencies"])


def test_a_last_release_is_the_newest_upload() -> None:
    # the shape of PEP 700's JSON pages, and one of a mirror that keeps no times
    newest = runpy.run_path(str(ROOT / ".ci" / "licences"))["newest"]
    page = {"files": [{"upload-time": "2024-05-01T10:00:00Z"}, {"upload-time": None}]}
    page["files"].append({"upload-time": "2025-02-19T01:02:03.4Z"})
    assert newest(page) == "2025-02-19"
    assert newest({"files": [{}]}) == "not known"
