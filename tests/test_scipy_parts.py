"""SciPy's parts loaded alone do what the public functions do, to the last digit."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
import scipy.optimize
import scipy.special

from photocheck import least_squares as module
from photocheck import scipy_parts, special
from photocheck.least_squares import least_squares
from photocheck.numerics import Sloped, derivative
from photocheck.photo.quality import _blur


def _valley(x):
    return np.array([10.0 * (x[1] - x[0] ** 2), 1.0 - x[0], 0.1 * x[0] * x[1]])


def _slopes(x):
    return np.array([[-20.0 * x[0], 10.0], [-1.0, 0.0], [0.1 * x[1], 0.1 * x[0]]])


def test_with_this_scipy_its_parts_are_had_alone():
    assert module._lmder() is not None
    assert scipy_parts.compiled("special", "_special_ufuncs") is not None


@pytest.mark.parametrize("start", [(-1.2, 1.0), (3.0, -4.0), (0.0, 0.0)])
@pytest.mark.parametrize("most_calls", [4, 100])
def test_the_minimum_is_the_public_functions(start, most_calls):
    ours = least_squares(_valley, np.array(start), _slopes, most_calls=most_calls)
    theirs = scipy.optimize.least_squares(
        _valley, start, jac=_slopes, method="lm", x_scale="jac", max_nfev=most_calls
    )
    assert ours.x.tolist() == theirs.x.tolist()
    assert ours.residuals.tolist() == theirs.fun.tolist()
    assert ours.cost == theirs.cost


@pytest.mark.parametrize(
    "broken",
    [
        lambda *given: (np.array([5.0, 5.0]), {"fvec": np.zeros(2)}, 1),
        lambda *given: (np.ones(2), {}, 1),
        lambda: None,
    ],
)
def test_a_part_that_does_something_else_is_not_used(monkeypatch, broken):
    class Moved:
        _lmder = staticmethod(broken)

    expected = least_squares(_valley, np.array([-1.2, 1.0]), _slopes)
    for part in (Moved, None):
        monkeypatch.setattr(module, "compiled", lambda package, name, part=part: part)
        module._lmder.cache_clear()
        assert module._lmder() is None
        found = least_squares(_valley, np.array([-1.2, 1.0]), _slopes)
        assert found.x.tolist() == expected.x.tolist()
    module._lmder.cache_clear()


def test_a_start_that_is_no_number_is_refused():
    with pytest.raises(ValueError, match="not finite"):
        least_squares(lambda x: x * np.nan, np.ones(2), lambda x: np.eye(2))


def test_a_function_and_its_slopes_are_had_by_one_call():
    """Of a quadratic form x A x the slopes are (A + A') x, and central differences have them."""
    form = np.random.default_rng(2).normal(size=(3, 5, 5))
    calls = []

    def function(x):
        calls.append(x.shape)
        return np.einsum("...i,mij,...j->...m", x, form, x)

    steps = np.array([1e-3, 1e-2, 1e-3, 1e-4, 1e-3])
    sloped = Sloped(function, steps)
    places = np.random.default_rng(3).normal(size=(4, 5))
    for at in places:
        assert sloped.value(at).tolist() == pytest.approx([at @ part @ at for part in form])
        true = [(part + part.T) @ at for part in form]
        np.testing.assert_allclose(sloped.slopes(at), true, atol=1e-8)
    assert calls == [(11, 5)] * 4
    assert sloped.slopes(at).tolist() == derivative(function, at, steps).tolist()
    del calls[:]
    sloped.value(places[0])  # a step that was not taken
    assert sloped.slopes(at).tolist() == derivative(function, at, steps).tolist()
    assert len(calls) == 2
    np.testing.assert_allclose(
        sloped.slopes(places[1]), [(part + part.T) @ places[1] for part in form], atol=1e-8
    )


def test_no_such_part():
    assert scipy_parts.compiled("optimize", "_no_such_module") is None


def test_special_functions_are_scipys():
    x = np.linspace(0.0, 1.0, 501)
    assert np.array_equal(special.elliptic_e(x), scipy.special.ellipe(x))
    assert np.array_equal(special.gamma_function(1.0 + x), scipy.special.gamma(1.0 + x))
    assert np.array_equal(special.normal_below(9 * x - 5), scipy.special.ndtr(9 * x - 5))
    for freedom in range(1, 6):
        above = special.chi_square_above(freedom, 400 * x)
        assert np.array_equal(above, scipy.special.chdtrc(freedom, 400 * x))
    chances = np.logspace(-300, -1e-6, 301)
    assert special.normal_quantile(chances) == pytest.approx(
        scipy.special.ndtri(chances), rel=1e-13, abs=1e-13
    )
    logs = [-1e3, -1e3 - 1.0, -np.inf]
    assert special.log_sum_exp(logs) == pytest.approx(scipy.special.logsumexp(logs), rel=1e-14)
    assert special.log_sum_exp([]) == -np.inf


def test_a_special_function_that_is_not_there_is_scipys_own(monkeypatch):
    monkeypatch.setattr(special, "compiled", lambda package, name: None)
    assert special._scipy("ellipe") is scipy.special.ellipe


def test_the_blur_is_scikit_images():
    measure = pytest.importorskip("skimage.measure")
    rng = np.random.default_rng(5)
    for shape in ((17, 40), (67, 67), (30, 21)):
        grey = rng.uniform(0.0, 255.0, shape)
        assert _blur(grey) == pytest.approx(measure.blur_effect(grey), rel=1e-12)


@pytest.mark.slow
def test_a_check_loads_nothing_that_it_does_not_need():
    said = (
        "import sys, runpy; from photocheck.case.samples import samples_folder\n"
        "sys.argv = ['photocheck', 'check', str(samples_folder() / 'sorrel' / 'case.json')]\n"
        "try: runpy.run_module('photocheck', run_name='__main__')\n"
        "except SystemExit: pass\n"
        "heavy = ('scipy.special', 'scipy.optimize', 'scipy.ndimage', 'scipy.stats', 'skimage',\n"
        "         'jsonschema', 'cattrs', 'tqdm', 'babel', 'numpy.f2py', 'importlib.metadata')\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
