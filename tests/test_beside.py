"""The march is compiled beside the coastline, once."""

import routeplan._passage.beside as beside


def test_compiles_once_and_leaves_its_mark(tmp_path, monkeypatch):
    monkeypatch.setenv("ROUTEPLAN_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.setattr(beside.os, "cpu_count", lambda: 2)
    wait = beside.compile_beside()
    assert wait is not beside._nothing_to_wait_for
    wait()
    assert [p.suffix for p in (tmp_path / "cache").iterdir()] == [".compiled"]
    assert beside.compile_beside() is beside._nothing_to_wait_for


def test_one_processor_compiles_when_it_must(tmp_path, monkeypatch):
    monkeypatch.setenv("ROUTEPLAN_CACHE_DIR", str(tmp_path))
    monkeypatch.setattr(beside.os, "cpu_count", lambda: 1)
    assert beside.compile_beside() is beside._nothing_to_wait_for


def test_a_cache_that_cannot_be_written_is_no_harm(tmp_path, monkeypatch):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    monkeypatch.setenv("ROUTEPLAN_CACHE_DIR", str(blocked / "cache"))
    beside.compile_here()
    assert not beside._mark().exists()
