"""What runs where the CAD kernel is absent, and what of its dependencies is never imported."""

import sys
from pathlib import Path

import pytest
from command_line import run
from kept_designs import FILES

from moulddesign.mould import cad_kernel

KERNEL = ("OCP", "cadquery")
NEVER_IMPORTED = (
    "cadquery", "casadi", "nlopt", "multimethod", "runtype", "numba", "llvmlite",
    "matplotlib", "kiwisolver", "contourpy", "trame", "trame_vtk",
    "trame_components", "trame_vuetify", "trame_client", "trame_server", "wslink", "aiohttp",
)  # fmt: skip
"""What comes with the kernel and no build needs."""
EXAMPLES = Path(cad_kernel.__file__).parents[1] / "data" / "examples"
DESIGN, RECIPE = FILES["chestnut-75"], EXAMPLES / "recipe.toml"
VERBS = [
    ("portion", DESIGN),
    ("batch", DESIGN, "--pieces", "40", "--recipe", RECIPE),
    ("trial", DESIGN, "--weighings", EXAMPLES / "weighings.csv"),
    ("label", DESIGN, "--recipe", RECIPE),
    ("water", RECIPE),
    ("oven", DESIGN),
    ("density", "recipe", RECIPE),
    ("fit", "--water", "60"),
    ("moulds",),
    ("patterns", "--json"),
    ("printers",),
]


SHAPES = "moulddesign.mould.kernel_shapes"
"""The module of ours that loads the kernel."""


def absent(monkeypatch, names):
    """Let the import of some packages fail, as where they are not installed."""
    for loaded in [name for name in sys.modules if name.partition(".")[0] in names]:
        monkeypatch.delitem(sys.modules, loaded)
    monkeypatch.delitem(sys.modules, SHAPES, raising=False)
    for name in names:
        monkeypatch.setitem(sys.modules, name, None)
    cad_kernel._kernel.cache_clear()  # noqa: SLF001 (it keeps what it imported)


@pytest.mark.parametrize("verb", VERBS, ids=lambda verb: " ".join(map(str, verb[:1])))
def test_verbs_that_make_no_exact_body_run_without_the_kernel(monkeypatch, capsys, verb):
    absent(monkeypatch, KERNEL)
    code, _, err = run(monkeypatch, capsys, *verb)
    assert code in {0, 1}, err  # a finding may fail; nothing is missing


@pytest.mark.slow
def test_a_mould_without_step_files_is_made_without_the_kernel(monkeypatch, capsys, tmp_path):
    absent(monkeypatch, KERNEL)
    made = ("make", DESIGN, "--formats", "stl,3mf,drawing,glb,card", "--out", tmp_path / "made")
    code, _, err = run(monkeypatch, capsys, *made)
    assert code == 0, err
    code, _, err = run(monkeypatch, capsys, "make", DESIGN, "--out", tmp_path / "exact")
    assert code == 1
    assert "kernel" in err
    assert not (tmp_path / "exact").exists()


@pytest.mark.slow
@pytest.mark.parametrize("name", ["chestnut-75", "lattice-block-70", "hexagon-cast-30"])
def test_builds_with_all_files_never_import_what_the_readme_says(
    monkeypatch, capsys, tmp_path, name
):
    absent(monkeypatch, NEVER_IMPORTED)
    code, _, err = run(monkeypatch, capsys, "make", FILES[name], "--out", tmp_path / "made")
    assert code == 0, err
    # A master has no exact body.
    assert any((tmp_path / "made").glob("*.step")) == (name != "hexagon-cast-30")
