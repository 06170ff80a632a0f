"""Learning the shop's ratios: the model, the decision, the file, the way into the check."""

import json
from dataclasses import replace

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from scipy.stats import multivariate_normal

import photocheck
from photocheck import outcomes
from photocheck.body import shape
from photocheck.body.trunk import build_trunk, log_spans
from photocheck.case.file import case_from_dict
from photocheck.case.model import DogFacts, Reading, Take
from photocheck.cli.main import run
from photocheck.errors import CaseError
from photocheck.judge import hierarchy, repeats
from photocheck.judge import learning as learning_module
from photocheck.judge.estimate import estimate
from photocheck.judge.evidence import (
    evidence_of,
    group_of,
    order_from_report,
)
from photocheck.judge.hierarchy import (
    Evidence,
    expected,
    fit,
    information,
    posterior,
    predictive,
    prior_spreads,
)
from photocheck.judge.learning import LEAST_ORDERS, Learning, learn, screen
from photocheck.judge.ratios import (
    Ratios,
    Version,
    ratios_from_dict,
    ratios_to_dict,
    read_ratios,
    write_ratios,
)
from photocheck.judge.tape_habits import tape_seen
from photocheck.report.file import report_text, report_to_dict
from photocheck.schemas.published import schema_text
from photocheck.words import BUILDS
from tests.support.checked_samples import checked
from tests.support.command_line import CHECKED
from tests.support.finished_orders import OWN, made, orders_of
from tests.support.judged import DOG, marking, square_view
from tests.support.places import SAMPLES
from tests.support.told_once import once

W, P, B = len(shape.WAYS), len(hierarchy.PARTS), len(BUILDS)


def random_evidence(rng, count=9, groups=3, readings=4) -> Evidence:
    root = rng.normal(size=(count, readings, readings))
    return Evidence(
        rng.normal(0.0, 0.05, (count, readings)),
        rng.normal(size=(count, readings, W)),
        1e-3 * (root @ np.swapaxes(root, 1, 2) + np.eye(readings)),
        rng.uniform(0.5, 2.0, (count, W)) * (hierarchy.BASES @ hierarchy.NOMINAL[:6]) ** 2,
        rng.integers(0, groups, count),
        groups,
        rng.integers(0, B, groups),
        rng.choice([0.5, 1.0], count),
    )


def in_parts(design: np.ndarray, own: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ways (r, 12) as parts (r, 9): with tags a way is as without, and what tags change besides."""
    parts = np.hstack([design[:, :6] + design[:, 6:], design[:, 6:9] + design[:, 9:]])
    return parts, np.append(own[:6] + own[6:], np.zeros(3))


# --- the model ---------------------------------------------------------------


def test_the_posterior_is_the_one_of_all_unknowns_written_out() -> None:
    """Held against conditioning one large joint normal, no structure used."""
    rng = np.random.default_rng(1)
    e = random_evidence(rng)
    s = prior_spreads()
    found = posterior(e, s)
    n, r, g = len(e.group), e.differences.shape[1], e.groups
    # unknowns: m, then a_k of every build, then c_g (one more of each build than seen)
    prior = np.diag(np.concatenate([s.overall**2, *[s.builds**2] * B, *[s.groups**2] * (g + B)]))
    builds = [*e.build, *range(B)]
    rows = np.zeros((n * r, len(prior)))
    noise = np.zeros((n * r, n * r))
    for i in range(n):
        at = slice(i * r, (i + 1) * r)
        parts, own = in_parts(e.design[i], e.own[i])
        rows[at, :P] = parts
        for column in (1 + builds[e.group[i]], 1 + B + e.group[i]):
            rows[at, column * P : (column + 1) * P] = parts
        noise[at, at] = e.noise[i] + parts @ np.diag(s.between**2 * own) @ parts.T
        noise[at, at] /= e.weight[i]  # a normal likelihood to a power is one with a wider spread
    gain = prior @ rows.T @ np.linalg.inv(rows @ prior @ rows.T + noise)
    mean, around = gain @ e.differences.ravel(), prior - gain @ rows @ prior
    for k in range(g + B):
        pick = np.zeros((P, len(prior)))
        for column in (0, 1 + builds[k], 1 + B + k):
            pick[:, column * P : (column + 1) * P] = np.eye(P)
        np.testing.assert_allclose(found.parts[k], pick @ mean, atol=1e-9)
        np.testing.assert_allclose(found.covariance[k], pick @ around @ pick.T, atol=1e-10)


def one_way(values, group, groups, noise=0.03) -> Evidence:
    """Orders with the half neck alone."""
    n = len(values)
    design = np.zeros((n, 1, W))
    design[:, 0, 0] = 1.0
    own = np.zeros((n, W))
    own[:, 0] = OWN[0]
    return Evidence(
        np.asarray(values)[:, None],
        design,
        np.full((n, 1, 1), noise**2),
        own,
        np.asarray(group, dtype=np.intp),
        groups,
        np.zeros(groups, np.intp),
        np.ones(n),
    )


def test_one_group_is_the_textbook_normal_normal() -> None:
    values = np.random.default_rng(2).normal(0.06, 0.04, 12)
    s = prior_spreads()
    found = posterior(one_way(values, np.zeros(12), 1), s)
    prior = s.overall[0] ** 2 + s.builds[0] ** 2 + s.groups[0] ** 2
    each = 0.03**2 + s.between[0] ** 2 * OWN[0]
    variance = 1.0 / (1.0 / prior + 12.0 / each)
    assert found.shift[0, 0] == pytest.approx(variance * values.sum() / each, rel=1e-9)
    assert found.covariance[0, 0, 0] == pytest.approx(variance, rel=1e-9)
    assert found.shift[0, 1] == 0.0  # nothing was said of the front


def test_the_spreads_are_at_the_peak_of_a_brute_force_grid() -> None:
    rng = np.random.default_rng(3)
    group = np.repeat(np.arange(6), 8)
    values = rng.normal(0.0, 0.05, 6)[group] + rng.normal(0.0, 0.05, 48)
    found = fit(one_way(values, group, 6, noise=0.02)).spreads
    s = prior_spreads()
    same = (group[:, None] == group).astype(float)

    def height(between: float, groups: float) -> float:
        each = 0.02**2 + between**2 * OWN[0]
        above = s.overall[0] ** 2 + s.builds[0] ** 2
        cov = above + groups**2 * same + each * np.eye(48)
        value = multivariate_normal.logpdf(values, np.zeros(48), cov)
        for spread, usual, freedom in (
            (between, s.between[0], hierarchy.DOG_FREEDOM),
            (groups, s.groups[0], hierarchy.GROUP_FREEDOM),
        ):
            value -= 0.5 * freedom * (2.0 * np.log(spread) + (usual / spread) ** 2)
        return float(value)

    betweens, spreads = np.linspace(0.5, 3.0, 26), np.linspace(0.01, 0.1, 31)
    heights = np.array([[height(b, g) for g in spreads] for b in betweens])
    at = np.unravel_index(np.argmax(heights), heights.shape)
    assert found.between[0] == pytest.approx(betweens[at[0]], abs=0.08)
    assert found.groups[0] == pytest.approx(spreads[at[1]], abs=0.003)


def test_nothing_learnt_is_the_shipped_prior() -> None:
    found = fit(evidence_of([], []))
    np.testing.assert_array_equal(found.shift, np.zeros((B, W)))
    np.testing.assert_allclose(found.factor[:, :6], 1.0)
    # what tags change is not known of a shop: 2 %
    change = shape.TAGGED_LOG_SPREAD / hierarchy.NOMINAL[:6]
    np.testing.assert_allclose(found.factor[:, 6:] ** 2, [1.0 + change**2] * B)
    rng = np.random.default_rng(4)
    order = evidence_of([made(rng)], ["husky"])
    empty = replace(found, parts=np.zeros((1 + B, P)), covariance=found.covariance[[0, *range(B)]])
    for one, other in zip(predictive(order, empty), predictive(order, None), strict=True):
        np.testing.assert_allclose(one, other)


def test_many_orders_are_the_data_and_the_doubt_falls() -> None:
    rng = np.random.default_rng(5)
    shift = np.array([0.09, -0.05, 0.04])
    spreads, gaps = [], []
    for count in (4, 16, 64, 256):
        orders = [made(rng, shift) for _ in range(count)]
        found = fit(evidence_of(orders, ["husky"]))
        spreads.append(found.shift_spread[0, :3])
        gaps.append(np.abs(found.shift[0, :3] - shift))
    assert np.all(np.diff(spreads, axis=0) < 0.0)
    # the front differs by 7 % between dogs: 256 of them tell its shift to 0.4 %
    assert np.all(gaps[-1] < 3.0 * spreads[-1])
    assert np.all(spreads[-1] < 0.006)
    assert found.factor[0, 0] < 0.75  # dogs were drawn with 0.6 of the shipped spread
    assert np.all(fit(evidence_of(orders[:1], ["husky"])).shift[0, :3] < 0.06)  # shrunk


def test_dogs_that_are_all_alike_keep_a_floor() -> None:
    # so many that the prior on the dogs' spread weighs less than the floor
    found = fit(one_way(np.full(1000, 0.05), np.zeros(1000), 1))
    assert found.spreads.between[0] * hierarchy.NOMINAL[0] == pytest.approx(hierarchy.LEAST_BETWEEN)


def test_groups_lend_each_other_their_shift() -> None:
    rng = np.random.default_rng(6)
    orders = [made(rng, (0.08, 0, 0), group=g) for g in "abcdef" for _ in range(15)]
    orders += [made(rng, (0.08, 0, 0), group="new")]
    found = fit(evidence_of(orders, [*"abcdef", "new"]))
    alone = fit(evidence_of(orders[-1:], ["new"]))
    assert found.shift[-1, 0] > 0.04  # a group never seen
    assert abs(found.shift[6, 0] - 0.08) < abs(alone.shift[0, 0] - 0.08)


def test_the_spread_by_way_is_that_of_the_shape_constants() -> None:
    points = {name: np.array(xy) for name, xy in DOG.items()}
    chest = {"back_top": np.array([-120.0, -130.0]), "chest_bottom": np.array([-120.0, 150.0])}
    zero = {term: np.zeros(()) for term in shape.TERM_TITLES}

    def spread(terms, column, marks, bends) -> float:
        total = 0.0
        for term in terms:
            up = {**zero, term: np.array(1e-4)}
            both = [log_spans(build_trunk(marks, bends, t, DogFacts())) for t in (up, zero)]
            total += ((both[0] - both[1])[column] / 1e-4) ** 2
        return float(np.sqrt(total))

    for i, (span, terms) in enumerate(shape.WAY_TERMS.items()):
        assert spread(terms, i, points, {}) == pytest.approx(shape.WAY_LOG_SPREAD[span], rel=0.03)
        others = [j for j in range(3) if j != i]
        assert all(spread(terms, j, points, {}) == 0.0 for j in others)
    found = spread(shape.WAY_TERMS["front_length"], 1, {**points, **chest}, {})
    assert found == pytest.approx(shape.WAY_LOG_SPREAD["front_length_marked"], rel=0.03)


# --- what teaches ------------------------------------------------------------


def test_a_shift_is_learnt_and_checked() -> None:
    learning = learn(orders_of(7))
    assert learning.adopted
    assert learning.version is not None
    assert learning.ratios.current == learning.version.version
    check = learning.version.check
    assert check.improves
    assert check.rmse_learnt["half_neck"] < 0.67 * check.rmse_shipped["half_neck"]
    assert learning.version.groups["husky"].ways["half_neck"].shift == pytest.approx(0.08, abs=0.02)


@pytest.mark.slow
def test_learning_is_refused_when_it_does_not_help() -> None:
    adopted = []
    for seed in range(12):
        learning = learn(orders_of(100 + seed, 12, shift=(0.0, 0.0, 0.0), more={"dogs": 1.0}))
        adopted.append(learning.adopted)
        assert learning.version is not None
        assert learning.adopted == learning.version.check.improves
        if not learning.adopted:
            assert learning.ratios == Ratios()
            assert "the old ratios stay" in learning.reason
    assert sum(adopted) <= 4  # one standard error by chance alone: one in six


def test_too_few_orders_change_nothing() -> None:
    learning = learn(orders_of(8, LEAST_ORDERS - 1))
    assert not learning.adopted
    assert learning.version is None
    assert f"only {LEAST_ORDERS - 1} orders" in learning.reason


@pytest.mark.slow
@pytest.mark.parametrize("outcome", ["returned", "unknown"])
def test_only_orders_that_fitted_teach(outcome: str) -> None:
    rng = np.random.default_rng(900)
    good = orders_of(9)
    bad = [made(rng, (-0.2, 0.2, 0.2), outcome=outcome) for _ in range(40)]
    clean, mixed = learn(good), learn(bad + good)
    assert mixed.version == clean.version
    assert len(mixed.left_out) == 40
    # the same order listed as fitted and otherwise: not clearly fitted
    twice = learn([*good, replace(good[0], outcome=outcome)])
    assert twice.version == learn(good[1:]).version


def test_an_order_counts_once_and_the_sequence_does_not_matter() -> None:
    good = orders_of(10)
    once = learn(good).version
    assert learn(good + good[:3]).version == once
    assert learn(good[::-1]).version == once


def test_outlying_orders_are_left_out_and_listed() -> None:
    rng = np.random.default_rng(1100)
    good = orders_of(11)
    slips = [made(rng, (0.08, 0.0, -0.05), slip=s) for s in (0.36, 0.4, -0.36, 0.45)]
    kept, outlying = screen(good + slips, ["husky"])
    assert {order.key for order, _ in outlying} == {order.key for order in slips}
    assert len(kept) == len(good)
    learning = learn(good + slips)
    alone = learn(good).version
    assert learning.version is not None
    assert alone is not None
    assert learning.version.groups == alone.groups
    assert learning.version.left_out == 4
    assert all("standard deviations" in item.reason for item in learning.left_out)
    # a lone order of a group cannot hide a gross slip either
    _, lone = screen([made(rng, group="lone", slip=0.4)], ["lone"])
    assert len(lone) == 1


@pytest.mark.slow
def test_new_ratios_must_not_lose_what_the_old_ones_know() -> None:
    many = learn(orders_of(12, 120))
    again = learn(orders_of(12, 120), many.ratios)
    assert not again.adopted
    assert "learnt already" in again.reason
    fewer = learn(orders_of(13, 40), many.ratios)  # new orders alone, not all of them
    assert not fewer.adopted
    assert "only 0 of the 119 orders" in fewer.reason
    assert many.ratios.current == fewer.ratios.current
    # all given again, but only ten new ones are known to have fitted
    unsure = [replace(order, outcome="unknown") for order in orders_of(12, 120)]
    doubtful = learn(unsure + orders_of(14, 10), many.ratios)
    assert not doubtful.adopted
    assert "10 new orders are predicted better by version" in doubtful.reason
    more = learn(orders_of(12, 160), many.ratios)
    assert more.adopted
    assert more.version is not None
    assert many.version is not None
    assert more.version.parent == many.version.version
    assert more.version.number == 2


def test_groups_are_breeds_however_typed() -> None:
    for text in ("Alaskan Husky", " alaskan  husky", "ALASKAN-HUSKY", "Alaskan Húsky."):
        assert group_of(DogFacts(breed=text)) == "alaskan husky"
    assert group_of(DogFacts(build="broad")) == "build broad"
    assert group_of(DogFacts()) == ""


# --- the file ----------------------------------------------------------------


@pytest.fixture(scope="module")
def learnt() -> Learning:
    return learn(orders_of(14))


def test_a_ratios_file_reads_back_and_fits_its_schema(tmp_path, learnt) -> None:
    path = tmp_path / "ratios.json"
    write_ratios(path, learnt.ratios)
    assert read_ratios(path) == learnt.ratios
    schema = json.loads(schema_text("ratios"))
    Draft202012Validator.check_schema(schema)
    Draft202012Validator(schema).validate(json.loads(path.read_text()))
    before = path.read_bytes()
    write_ratios(path, learn(orders_of(14)).ratios)
    assert path.read_bytes() == before  # learning is deterministic


def test_undo_goes_back_step_by_step(tmp_path, learnt) -> None:
    path = tmp_path / "ratios.json"
    second = learn(orders_of(14, 60), learnt.ratios)
    assert second.adopted
    write_ratios(path, second.ratios)
    dog = DogFacts(breed="Husky")
    assert outcomes.undo(path).current == learnt.version.version
    assert read_ratios(path).for_dog(dog) == learnt.ratios.for_dog(dog)
    assert outcomes.undo(path).current == "shipped"
    assert read_ratios(path).for_dog(dog) == shape.SHIPPED
    assert len(read_ratios(path).versions) == 2  # nothing is forgotten
    with pytest.raises(CaseError, match="nothing to undo"):
        outcomes.undo(path)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda d: d.pop("format"), "no format"),
        (lambda d: d.update(format="other/1"), "other/1"),
        (lambda d: d.update(extra=1), "schema"),
        (lambda d: d.update(current="9-none"), "not in the file"),
        (lambda d: d["versions"][0].update(orders=31), "changed after"),
        (lambda d: d["versions"][0]["others"]["half_neck"].update(shift=5.0), "schema"),
    ],
)
def test_a_spoilt_ratios_file_is_refused(spoil, said, learnt) -> None:
    data = json.loads(json.dumps(ratios_to_dict(learnt.ratios)))
    spoil(data)
    with pytest.raises(CaseError, match=said):
        ratios_from_dict(data)


# --- into the check and back -------------------------------------------------


def test_the_estimate_moves_by_the_learnt_ratios_and_nothing_else(learnt) -> None:
    dog = DogFacts(breed="husky")
    ratios = learnt.ratios.for_dog(dog)
    view, marks = square_view(), marking()
    plain = estimate([view], [[marks]], dog)
    moved = estimate([view], [[marks]], dog, ratios)
    assert moved.ratios_version == learnt.version.version
    own = np.array([sum(plain.shares[t][i] for t in terms)
                    for i, terms in enumerate(shape.WAY_TERMS.values())])  # fmt: skip
    ways = [ratios.of(span, False) for span in shape.WAY_TERMS]
    shift = [way.shift for way in ways]
    np.testing.assert_allclose((moved.log_spans - plain.log_spans)[:3], shift, atol=2e-5)
    grown = (np.array([way.spread_factor for way in ways]) ** 2 - 1.0) * own
    change = np.diag(moved.covariance - plain.covariance)[:3]
    np.testing.assert_allclose(change, grown, atol=2e-6)
    assert moved.covariance[0, 0] < plain.covariance[0, 0]  # the doubt falls
    np.testing.assert_allclose(moved.straight_mm, plain.straight_mm, rtol=1e-6)


@pytest.fixture(scope="module")
def sample():
    # a neck whose width is told teaches nothing of how wide necks are
    told = json.loads((SAMPLES / "bramble" / "case.json").read_text(encoding="utf-8"))
    case = case_from_dict(once(told), SAMPLES / "bramble", where="bramble")
    return replace(case, dog=replace(case.dog, breed="Husky"))


@pytest.fixture(scope="module")
def report(sample):
    return photocheck.check(sample)


@pytest.mark.slow
def test_a_report_names_its_ratios_and_gives_the_same_order_back(sample, report, learnt) -> None:
    assert report.ratios_version == "shipped"
    with_ratios = photocheck.check(sample, ratios=learnt.ratios)
    assert with_ratios.ratios_version == learnt.version.version
    plain = order_from_report(report, "fitted", shape.SHIPPED)
    back = order_from_report(with_ratios, "fitted", learnt.ratios.for_dog(sample.dog))
    assert plain.key == back.key
    assert plain.group == "husky"
    assert plain.design.any(axis=0).sum() == 3
    np.testing.assert_allclose(back.differences, plain.differences, atol=1e-4)
    np.testing.assert_allclose(back.own, plain.own, rtol=0.01, atol=1e-9)
    np.testing.assert_allclose(back.noise, plain.noise, rtol=0.02, atol=2e-6)
    assert np.linalg.eigvalsh(plain.noise)[0] > 0.0


def variant(report, number: int, factor: float = 1.08):
    """The same report as of another order whose half neck reads otherwise."""
    rng = np.random.default_rng(number)
    photo = {span.span: span.photo_mm for span in report.spans}
    photo["neck_ring"] = 2.0 * photo["half_neck"]
    readings = {}
    for name in report.case.readings:
        own = (factor if "neck" in name else 1.0) * np.exp(0.02 * rng.normal())
        mm = float(photo[name] * own)
        readings[name] = Reading(mm, f"{mm / 10:.6f}", "cm")
    case = replace(report.case, readings=readings, name=f"order {number}", unit="cm")
    return replace(report, case=case)


def outcome_text(report, outcome: str = "fitted") -> str:
    data = {"format": outcomes.FORMAT, "outcome": outcome, "report": report_to_dict(report)}
    Draft202012Validator(json.loads(schema_text("outcome"))).validate(data)
    return json.dumps(data)


@pytest.mark.slow
def test_the_command_learns_uses_and_undoes(tmp_path, sample, report, capsys) -> None:
    lines = [outcome_text(variant(report, n)) for n in range(20)]
    lines.append(outcome_text(variant(report, 99, 1.5), "returned"))
    orders, ratios = tmp_path / "orders.jsonl", tmp_path / "ratios.json"
    orders.write_text("\n".join(lines) + "\n")
    told = ["learn", str(orders), "--ratios", str(ratios)]
    assert run([*told, "--look"]) == 0
    assert not ratios.exists()
    assert run(told) == 0
    said = capsys.readouterr().out
    assert "new ratios are in use" in said
    assert "husky (20 orders): half neck +" in said
    assert "order 99: it was returned" in said
    version = read_ratios(ratios).current

    told_file = SAMPLES / "nettle" / "case.json"
    code = run(["check", str(told_file), "--ratios", str(ratios)])
    assert code in CHECKED
    assert f"version {version}" in capsys.readouterr().out
    answered = photocheck.check(sample, ratios=read_ratios(ratios))
    assert answered.spans[0].photo_mm > 1.04 * report.spans[0].photo_mm

    # a report made with these ratios teaches the same; without the file it cannot
    with_ratios = tmp_path / "one.json"
    with_ratios.write_text(outcome_text(answered))
    assert outcomes.read_outcomes(with_ratios, read_ratios(ratios))[0].group == "husky"
    with pytest.raises(CaseError, match="not in the ratios file"):
        outcomes.read_outcomes(with_ratios)

    assert run([*told, "--json"]) == 0
    again = json.loads(capsys.readouterr().out)
    assert again["adopted"] is False
    assert run(["learn", "--undo", "--ratios", str(ratios)]) == 0
    assert "version shipped is in use again" in capsys.readouterr().out
    assert read_ratios(ratios).current == "shipped"
    assert run(["learn", "--undo", "--ratios", str(ratios)]) == 2


def test_a_folder_of_outcomes_with_reports_and_cases_beside_them(tmp_path) -> None:
    report = checked("bramble")
    (tmp_path / "report.json").write_text(report_text(report))
    told = {"format": outcomes.FORMAT, "outcome": "fitted", "report": "report.json"}
    (tmp_path / "a.json").write_text(json.dumps({**told, "name": "Juno"}))
    case = str((SAMPLES / "bramble" / "case.json").resolve())
    told = {"format": outcomes.FORMAT, "outcome": "unknown", "case": case}
    (tmp_path / "b.json").write_text(json.dumps(told))
    found = outcomes.read_outcomes(tmp_path)
    assert (found[0].name, found[0].outcome) == ("Juno", "fitted")
    assert found[1].key == found[0].key
    np.testing.assert_allclose(found[1].differences, found[0].differences)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not JSON"),
        ("{", "not JSON"),
        ("[]", "no format is given"),
        ('{"format": "photocheck-case/1"}', "photocheck-case/1"),
        ('{"format": "photocheck-outcome/1", "outcome": "fine", "report": "r"}', "outcome"),
        ('{"format": "photocheck-outcome/1", "outcome": "fitted"}', 'a "report" or a "case"'),
        ('{"format": "photocheck-outcome/1", "outcome": "fitted", "report": "r"}', "no such"),
        ('{"format": "photocheck-outcome/1", "outcome": "fitted", "report": {}}', "no format"),
    ],
)
def test_bad_outcomes_are_told(tmp_path, capsys, text, said) -> None:
    path = tmp_path / "order.json"
    path.write_text(text)
    assert run(["learn", str(path), "--ratios", str(tmp_path / "r.json")]) == 2
    message = capsys.readouterr().err
    assert said in message
    assert "order.json" in message or "r'" in message or said == "no such"
    assert "Traceback" not in message
    assert not (tmp_path / "r.json").exists()


def test_other_bad_calls_are_told(tmp_path, capsys, report) -> None:
    ratios = str(tmp_path / "r.json")
    (tmp_path / "l.jsonl").write_text("\n\n{]\n")
    (tmp_path / "bad.json").write_text("{}")
    folder = tmp_path / "empty"
    folder.mkdir()
    for which in ("outcome", "ratios"):
        assert run(["schema", which]) == 0
        assert json.loads(capsys.readouterr().out)["title"] == f"photocheck {which}"
    for arguments, said in (
        (["learn"], "no orders are given"),
        (["learn", "x", "--undo"], "--undo goes alone"),
        (["learn", "--undo", "--ratios", ratios], "no such ratios file"),
        (["learn", str(tmp_path / "none.json"), "--ratios", ratios], "no such outcomes file"),
        (["learn", str(tmp_path / "none.jsonl"), "--ratios", ratios], "no such outcomes file"),
        (["learn", str(tmp_path / "l.jsonl"), "--ratios", ratios], "line 3"),
        (["learn", str(folder), "--ratios", ratios], "no outcome lies in this folder"),
        (["check", str(SAMPLES / "bramble" / "case.json"), "--ratios", ratios], "no such ratios"),
        (
            ["check", str(SAMPLES / "bramble" / "case.json"), "--ratios",
             str(tmp_path / "bad.json")],
            "no format is given",
        ),
    ):  # fmt: skip
        assert run(arguments) == 2, arguments
        assert said in capsys.readouterr().err
    torn = replace(report, covariance=report.covariance[:2])
    with pytest.raises(CaseError, match="covariance"):
        order_from_report(torn, "fitted", shape.SHIPPED)
    twisted = replace(report, covariance=tuple(tuple(-v for v in row) for row in report.covariance))
    with pytest.raises(CaseError, match="do not go together"):
        order_from_report(twisted, "fitted", shape.SHIPPED)


@pytest.mark.slow
def test_the_benchmark_holds_its_shops_against_the_truth() -> None:
    from photocheck.benchmark.learning_shop import (
        Seen,
        SimulatedShop,
        judged,
        photograph,
        table,
        taught,
    )
    from photocheck.benchmark.trial import Setting

    one = photograph(Setting("a try", "a4", "middle"), 3, 1)
    assert np.all(one.own > 0.0)
    assert np.all(np.abs(one.log_spans[:3] - one.truth) < 0.3)
    rng = np.random.default_rng(2)
    # the same body with photos that err by 2 % each
    pool = [
        Seen(
            np.append(log := one.truth + rng.normal(0.0, 0.02, 3), np.log(np.exp(log[1:]).sum())),
            one.covariance,
            one.own,
            one.truth,
        )
        for _ in range(40)
    ]
    shop = SimulatedShop(pool, 1, rng)
    shop.offsets[0] = (0.12, 0.0, 0.0)
    ratios, adopted = taught([shop.order(0) for _ in range(25)], 0)
    assert adopted
    dogs = shop.test_dogs(0)
    rows = [{"shipped": (judged(dogs, shape.SHIPPED), True), "25": (judged(dogs, ratios), True)}]
    assert table("a try", rows).count("\n| ") == 4
    before, after = (np.sqrt(np.mean(rows[0][k][0].error[:, 0] ** 2)) for k in ("shipped", "25"))
    assert before == pytest.approx(np.hypot(0.12, np.hypot(0.02, 0.02)), abs=0.02)
    assert after < 0.5 * before


def test_what_learning_gains_is_counted_from_the_shipped_ratios() -> None:
    """Nothing to learn: the log densities of both differ by little, though each is some units."""
    learning = learn(orders_of(5, 20, shift=(0.0, 0.0, 0.0), more={"dogs": 1.0}))
    assert learning.version is not None
    assert abs(learning.version.check.gain) < 0.5
    shifted = learn(orders_of(5, 20, shift=(0.12, 0.0, -0.08), more={"dogs": 1.0}))
    assert shifted.version is not None
    assert 0.5 < shifted.version.check.gain < 8.0


def test_an_order_is_screened_by_what_the_others_of_its_group_teach() -> None:
    """Each order left out in turn: the group's shift by the others, then one normal's scores."""
    evidence = random_evidence(np.random.default_rng(14))
    found = learning_module._scores(evidence)
    count = len(evidence.group)
    for i in range(count):
        others = (evidence.group == evidence.group[i]) & (np.arange(count) != i)
        precision, score = information(evidence.only(others), np.ones(P))
        loose = [learning_module.SCREEN_SHIFT] * 6 + [shape.TAGGED_LOG_SPREAD] * 3
        around = np.linalg.inv(precision.sum(axis=0) + np.diag(np.array(loose) ** -2.0))
        own = evidence.only(np.arange(count) == i)
        shift = around @ score.sum(axis=0)
        parts, _ = in_parts(own.design[0], own.own[0])
        _, covariance = expected(own, np.zeros((1, W)), np.ones((1, W)))
        mean = (parts @ shift)[None]
        spread = covariance[0] + parts @ around @ parts.T
        miss = (own.differences - mean)[0]
        alone = np.abs(miss) / np.sqrt(np.diag(spread))
        given = []
        for k in range(len(miss)):  # the normal of one reading given the others
            rest = np.delete(np.arange(len(miss)), k)
            way = spread[k, rest] @ np.linalg.inv(spread[np.ix_(rest, rest)])
            left = spread[k, k] - way @ spread[rest, k]
            given.append(abs(miss[k] - way @ miss[rest]) / np.sqrt(left))
        assert found[i] == pytest.approx(max(*alone, *given), rel=1e-6)


# --- tags on the dog ----------------------------------------------------------------

HABIT = np.array([0.03, -0.03, 0.0])
"""What a shop's owners are off between where they mark and where they lay the tape; no tag is."""


def both_kinds(
    seed: int, habit: np.ndarray, by_hand: int = 24, tagged: int = 10, *, told: bool = True
) -> list:
    """A store with orders marked by hand and orders with tags, of one breed.

    Not `told` of the tags, it takes them alike.
    """
    rng = np.random.default_rng([30, seed])
    shape_of = np.array([0.05, 0.02, -0.03])
    orders = [made(rng, shape_of + habit) for _ in range(by_hand)]
    return [*orders, *(made(rng, shape_of, tags=True, told=told) for _ in range(tagged))]


def version_of(orders: list) -> Version:
    """What is learnt of them."""
    found = learn(orders).version
    assert found is not None
    return found


def misses(orders, habit) -> np.ndarray:
    """How far the learnt ratios are off for the next dogs: by hand, and with tags; (2, 3)."""
    found = fit(evidence_of(orders, ["husky"])).shift[0]
    truth = np.array([0.05, 0.02, -0.03])
    tagged = found[6:9] if any(order.at_tags for order in orders) else found[:3]
    return np.array([found[:3] - truth - habit, tagged - truth])


@pytest.mark.slow
def test_a_store_with_both_kinds_learns_better_than_one_that_takes_them_alike() -> None:
    own, same = [], []
    for seed in range(40):
        own.append(misses(both_kinds(seed, HABIT), HABIT))
        same.append(misses(both_kinds(seed, HABIT, told=False), HABIT))
    apart, mixed = (np.sqrt(np.mean(np.square(all_), axis=0)) for all_ in (own, same))
    # where owners are off by a habit: half neck and front
    assert np.all(apart[:, :2] < mixed[:, :2])
    assert np.all(apart[1, :2] < 0.75 * mixed[1, :2])  # of the few with tags most
    # what it costs where there is no habit: less than a third of what it brings
    gained, lost = np.min(mixed[1, :2] - apart[1, :2]), apart[1, 2] - mixed[1, 2]
    assert lost < gained / 3.0


def test_orders_with_tags_learn_from_those_by_hand_and_the_other_way() -> None:
    by_hand = both_kinds(1, np.zeros(3), by_hand=40, tagged=0)
    few = both_kinds(1, np.zeros(3), by_hand=40, tagged=2)
    alone = fit(evidence_of(few[40:], ["husky"]))
    found = fit(evidence_of(few, ["husky"]))
    assert np.all(found.shift_spread[0, 6:9] < alone.shift_spread[0, 6:9])
    without = fit(evidence_of(by_hand, ["husky"]))
    # two orders tell those by hand a little; what tags may change keeps it little
    assert np.all(found.shift_spread[0, :3] < without.shift_spread[0, :3])
    assert np.all(np.abs(found.shift[0, :3] - without.shift[0, :3]) < 0.01)


@pytest.mark.slow
def test_orders_by_hand_alone_are_learnt_from_as_ever() -> None:
    """No tag in the store: no way with tags in what is learnt, nor in its file."""
    for group in version_of(both_kinds(2, np.zeros(3), tagged=0)).groups.values():
        assert tuple(group.ways) == shape.BASE_WAYS
    with_some = learn(both_kinds(2, np.zeros(3)))
    assert tuple(version_of(both_kinds(2, np.zeros(3))).others) == shape.WAYS
    assert ratios_from_dict(ratios_to_dict(with_some.ratios)) == with_some.ratios


@pytest.mark.parametrize("slip", [-0.25, 0.3])
def test_a_wrong_order_with_tags_poisons_nothing(slip: float) -> None:
    """Its tape was not held there, or a tag slipped: it is named and left out."""
    orders = both_kinds(3, HABIT)
    right = version_of(orders)
    rng = np.random.default_rng(31)
    wrong = made(rng, (0.05, 0.02, -0.03), tags=True, slip=slip)
    learning = learn([*orders, wrong])
    assert wrong.name in [left.name for left in learning.left_out if left.outlying]
    for way, ratio in version_of([*orders, wrong]).groups["husky"].ways.items():
        assert ratio == right.groups["husky"].ways[way]


@pytest.mark.parametrize("slip", [-0.15, 0.06, 0.15])
def test_a_wrong_order_with_tags_that_is_not_seen_moves_little(slip: float) -> None:
    """One of 35 orders, of which eleven with tags: by hand it counts less than its share."""
    for seed in range(5):
        orders = both_kinds(seed, HABIT)
        shifts = []
        for off in (slip, 0.0):
            more = made(np.random.default_rng([32, seed]), (0.05, 0.02, -0.03), tags=True, slip=off)
            shifts.append(fit(evidence_of([*orders, more], ["husky"])).shift[0])
        moved = np.abs(shifts[0] - shifts[1]) / abs(slip)
        assert moved[0] < 1.0 / 35.0
        assert moved[6] < 1.0 / 8.0


def test_a_tape_held_at_tags_teaches_nothing_of_one_that_is_not() -> None:
    """Were the share that was chosen for tags wrong, it must not spoil what is known without."""
    readings = {"half_neck": Reading(380.0, "", "cm"), "neck_ring": Reading(762.0, "", "cm")}
    exact = {**readings}
    for name, one in readings.items():
        takes = [Take(one.mm * f, "", "cm") for f in (0.9995, 1.0005)]
        exact[name] = Reading.of(takes)
    tape = tape_seen(exact, ["half_neck", "neck_ring"])
    orders = [
        replace(order, tape=tape) if order.at_tags else order
        for order in both_kinds(5, np.zeros(3), tagged=20)
    ]
    version = version_of(orders)
    assert version.tape is None
    assert version.tape_at_tags is not None
    assert version.tape_at_tags.repeat < 0.5
    ratios = Ratios().adding(version)
    assert ratios.habits == repeats.USUAL
    assert ratios.habits_at_tags == version.tape_at_tags


def test_ratios_for_a_dog_with_tags_are_those_of_its_ways() -> None:
    ways = {way: shape.Learnt(0.01 * k, 0.5) for k, way in enumerate(shape.WAYS)}
    ratios = shape.TapeRatios("1-a", ways)
    tagged = ratios.at_tags(["half_neck"])
    assert tagged.of("half_neck", False) == ways["half_neck_tagged"]
    assert tagged.of("half_neck", True) == ways["half_neck_marked_tagged"]
    assert tagged.of("front_length", False) == ways["front_length"]
    # none with tags taught: as without, give or take what tags may change
    bare = shape.TapeRatios("1-b", {way: ways[way] for way in shape.BASE_WAYS})
    found = bare.at_tags(["half_neck"]).of("half_neck", False)
    assert found.shift == ways["half_neck"].shift
    more = shape.TAGGED_LOG_SPREAD / shape.WAY_LOG_SPREAD["half_neck"]
    assert found.spread_factor == pytest.approx(np.hypot(0.5, more))
    assert shape.SHIPPED.at_tags(["half_neck"]) == shape.SHIPPED
