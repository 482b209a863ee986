"""An own chart: idle sizes, load limits that bite first, edges moved."""

import re
from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.stats import binomtest

from sizing.bands import fit_bands
from sizing.charts import chart_from, demo_chart, fits_matrix, write_chart
from sizing.cli.main import main
from sizing.client.caseload import judge_clients, read_clients
from sizing.client.nudge import (
    FURTHEST,
    ONE_MORE,
    bands_of,
    density,
    fullest_box,
    gaps_of,
    nudge,
    nudge_layout,
    what_to_change,
    with_edge,
)
from sizing.client.own_chart import clients_served, judge_chart
from sizing.coverage import compare_charts, estimate_coverage
from sizing.errors import SizingError, SizingWarning
from sizing.pages.own_chart import bands_svg
from sizing.people import load_people, people_from, read_caseload
from sizing.plots.chart import plot_bands, plot_difference
from sizing.plots.style import HATCHES
from sizing.words.client import change_words, why_words

from .cases import HIP, MASS, STATURE, made


@pytest.fixture(scope="module")
def people():
    return load_people("walking_difficulty", draws=2)


@pytest.fixture(scope="module")
def judged(people):
    return judge_chart(people, demo_chart(), by=(), replicates=50)


def sized(**limits):
    """Return a chart of one size."""
    frame = pd.DataFrame({name: [value] for name, value in limits.items()})
    return chart_from(frame.assign(size="one"), warn=False)


def test_what_an_interval_is_for_is_said_where_that_is_not_plain(people, judged):
    assert not judged.own and judged.answer().endswith(
        f"({people.n:,} people; 95 % interval)."
    )
    # Not everybody was measured: their draws' intervals count the model's bias.
    (told,) = judged.intervals
    assert "typical error of the body model" in told and told in judged.summary()
    alone = replace(people, drawn=None)
    assert judge_chart(alone, demo_chart(), by=(), replicates=50).intervals == []
    measured = people_from(pd.DataFrame({HIP: [95.0, 100, 150, 100]}), name="mine")
    chart = sized(**{f"{HIP}_low": 90, f"{HIP}_high": 110})
    found = judge_chart(measured, chart, by=(), replicates=50)
    assert found.answer().endswith("fits 75 % of these 4 clients (mine).")
    (told,) = found.intervals
    row = found.coverage.table.iloc[0]
    assert f"from {100 * row['low']:.0f} % to {100 * row['high']:.0f} % (95 %" in told
    # Shares of people who are weighted stand for others than themselves.
    weighted = replace(measured, weight=pd.Series([1.0, 2, 1, 1]))
    assert "(4 people; 95 % interval)" in (
        judge_chart(weighted, chart, by=(), replicates=50).answer()
    )


def test_a_nudge_is_the_paired_comparison(people):
    chart = demo_chart()
    moved = with_edge(chart, "adult 2", "hip_circumference_cm", "high", 120)
    quick = nudge(people, chart, moved).table.iloc[0]
    full = compare_charts(people, chart, moved).table.iloc[0]
    assert quick["estimate"] == pytest.approx(full["estimate"], abs=1e-12)
    width, other = (row["high"] - row["low"] for row in (quick, full))
    assert width == pytest.approx(other, rel=0.1)
    # Paired: far narrower than either chart's own interval.
    alone = estimate_coverage(people, chart).table.iloc[0]
    assert width < 0.5 * (alone["high"] - alone["low"])


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(st.integers(400, 1500), st.integers(0, 300)), min_size=1))
def test_gaps_against_brute_force(ends):
    bands = [(a / 10, (a + wide) / 10) for a, wide in ends]
    points = np.arange(min(a for a, _ in ends), max(a + b for a, b in ends) + 1)
    free = [all(not a <= p <= a + b for a, b in ends) for p in points]
    gaps = gaps_of(bands)
    inside = [
        any(a < p / 10 - 1e-9 and p / 10 + 1e-9 < b for a, b in gaps) for p in points
    ]
    assert free == inside


def test_moving_an_edge_is_checked():
    chart = demo_chart()
    with pytest.raises(SizingError, match="above the high limit"):
        with_edge(chart, "adult 2", "hip_circumference_cm", "low", 130)
    with pytest.raises(SizingError, match="size"):
        with_edge(chart, "adult 9", "hip_circumference_cm", "low", 90)
    for value in (-4, 1000):
        with pytest.raises(SizingError, match="0 to 999"):
            with_edge(chart, "adult 2", "hip_circumference_cm", "high", value)
    for end, value in (("low", 0), ("high", 999)):
        wide = with_edge(chart, "adult 2", "hip_circumference_cm", end, value)
        assert value in wide.frame.loc[4].tolist()
    wide = with_edge(chart, "adult 2", "hip_circumference_cm", "high", None)
    assert np.isnan(wide.frame.loc[4, "hip_circumference_cm_high"])
    assert chart.frame.loc[4, "hip_circumference_cm_high"] == 116


def test_a_load_limit_bites_first_only_where_a_fabric_was_judged():
    by_mass = sized(load_limit_kg=100, body_mass_kg_low=40, body_mass_kg_high=90)
    by_stature = sized(load_limit_kg=100, stature_cm_low=150, stature_cm_high=180)
    people = pd.DataFrame({"body_mass_kg": [60.0, 120.0], "stature_cm": [160.0, 170.0]})
    found = judge_chart(people_from(people), by_mass, by=(), replicates=50)
    assert found.sizes["load_first"].tolist() == [0.0]
    both = judge_chart(people_from(people), by_stature, by=(), replicates=50)
    assert both.sizes["load_first"].tolist() == [0.5]
    unweighed = people_from(people[["stature_cm"]])
    with pytest.warns(SizingWarning, match="has no column body_mass_kg"):
        without = judge_chart(unweighed, by_stature, by=(), replicates=50)
    assert without.sizes["load_first"].tolist() == [0.0]


def test_an_edge_that_changes_nobody_is_said_with_what_it_may_still_do(people):
    chart = demo_chart()
    edited = with_edge(chart, "adult 1", HIP, "high", None)
    moved = nudge(people, chart, edited)
    same = nudge(people, chart, chart)
    row = same.table.iloc[0]
    assert row["changed"] == 0 and row["estimate"] == 0
    assert same.summary().endswith("invented demo chart fits the same people.")
    # Charts that limit other measures are said to be no better.
    bare = replace(chart, frame=chart.frame.drop(columns=[f"{HIP}_low", f"{HIP}_high"]))
    told = nudge(people, chart, bare).summary()
    assert "neither can be said to be better" in told and "points" not in told
    # The score interval's end for a share of nothing: t^2 / (n + t^2).
    place = nudge_layout(people)
    number = place.weight.sum() ** 2 / (place.weight**2).sum()
    assert row["high"] == -row["low"] == pytest.approx(3.84 / number, rel=0.02)
    assert row["share_a"] == row["share_b"]
    full = estimate_coverage(people, chart).table.iloc[0]
    assert row["share_b"] == pytest.approx(full["estimate"])
    assert row["share_b_low"] == pytest.approx(full["low"], abs=0.004)
    assert row["share_b_high"] == pytest.approx(full["high"], abs=0.004)
    told = moved.table.iloc[0]
    points = [float(p) / 100 for p in re.findall(r"[+-]\d+\.\d\d", moved.summary())]
    ends = told[["estimate", "low", "high"]].tolist()
    assert points == pytest.approx(ends, abs=5e-5) and len(set(points)) == 3
    a, b = (fits_matrix(people.frame, c).any(axis=1) for c in (chart, edited))
    assert told["changed"] == (a != b).sum() > 0


def test_odds_are_told_by_what_is_known_of_the_people(people, judged):
    chart = demo_chart()
    assert set(judged.between["term"]) == {"sex", "age_band", "bmi_class"}
    limits = chart.frame[["size", "group", f"{HIP}_low", f"{HIP}_high"]]
    by_hip = chart_from(limits, warn=False)
    for kept, terms in ((["age_years"], {"age_band"}), (["sex"], set())):
        frame = people.frame[["person", "draw", HIP, *kept]]
        few = replace(people, frame=frame, evidence=people.evidence[[HIP]])
        found = judge_chart(few, by_hip, by=(), replicates=50).between
        assert set(found.get("term", [])) == terms


def test_a_judgement_says_its_own_figures(people, judged):
    """Were these the figures, so that a hundredth part more or less is seen."""
    found = judged
    assert found.table["size"].tolist() == list(demo_chart().sizes)
    spare = [row["size"] for _, row in found.table.iterrows() if row["needs"] < 0.005]
    assert found.unneeded == spare and 0 < len(spare) < 9
    sizes = found.sizes.copy()
    sizes[["needs", "needs_high", "load_first"]] = 0.5
    sizes["unneeded"] = [True, True] + [False] * 7
    sizes.loc[:1, "needs_high"] = [0.0123, 0.0089]
    shares = ["load_first", "load_first_low", "load_first_high"]
    sizes[shares] = 0.0
    sizes.loc[4, shares] = [0.9, 0.8, 0.96]
    table = found.coverage.table.copy()
    table.loc[0, ["estimate", "low", "high"]] = [0.9, 0.8, 0.96]
    whole = replace(found.coverage, table=table)
    told = replace(found, sizes=sizes, coverage=whole)
    assert told.answer() == (
        "Invented for demonstration: the size chart. Choose and order nothing by it. "
        f"{demo_chart().name} fits 90 in 100 of {people.name}, probably between 80 and "
        f"96 ({table['n'].iloc[0]:,} people; 95 % interval)."
    )
    words = told.summary()
    assert (
        "Sizes that almost nobody needs (under 0.5 % have no other, at most 1.2 % by "
        "the intervals): paediatric 1, paediatric 2." in words
    )
    limit = sizes.loc[4, "load_limit_kg"]
    assert (
        f"adult 2: the load limit of {limit:g} kg rules out 90 % (80 to 96) of all "
        "people, though the fabric would fit." in words
    )
    assert words.count("rules out") == 1
    need_all = replace(found, sizes=sizes.assign(unneeded=False))
    assert "almost nobody needs" not in need_all.summary()


def test_why_people_have_no_size_is_said_with_the_usual_miss():
    row = {"estimate": 0.9, "low": 0.8, "high": 0.96, "miss_median": 3.2}
    row |= {"measure": HIP, "direction": "too_small_for"}
    assert why_words(pd.Series(row)) == (
        "90 % (80 to 96) have no size because of hip girth: their nearest size is too "
        "small; half of them by 3.2 cm or less."
    )
    row |= {"direction": "not_measured", "miss_median": np.nan}
    assert why_words(pd.Series(row)).endswith(
        "because of hip girth: it was not measured."
    )


def test_pictures_show_gap_and_overlap_and_the_difference(people):
    moved = with_edge(demo_chart(), "paediatric 2", "hip_circumference_cm", "low", 71)
    spread = density(people, HIP)
    bands = bands_of(moved, spread, HIP, before=demo_chart())
    ax = plot_bands(bands, label="Hip girth, cm")
    assert "gap 68 to 71" in [text.get_text() for text in ax.texts]
    assert sum(patch.get_hatch() == HATCHES[1] for patch in ax.patches) >= 6
    row = {"outcome": "covered", "estimate": 0.02, "low": 0.01, "high": 0.03}
    ax = plot_difference(pd.DataFrame([row]), words={"covered": "covered"})
    assert ax.texts[0].get_text() == "+2.0 %"
    light = bands_svg(bands, label="Hip girth, cm")
    assert "gap 68 to 71" in light and light.count("url(#overlap)") >= 6
    assert light.startswith("<svg") and light.count("adult 2") == 1
    # Edges of the other chart stand at the size of the same name, not at its row.
    turned = replace(moved, frame=moved.frame[::-1].reset_index(drop=True))
    beside = bands_of(turned, spread, HIP, before=demo_chart()).before
    assert beside["high"].tolist() == demo_chart().frame[f"{HIP}_high"].tolist()[::-1]
    # Neither the first size nor one beyond a gap overlaps what is before it.
    assert bands.sizes["from"].isna().tolist() == [True, True] + [False] * 7
    inches = bands_of(demo_chart(), spread, HIP, units="pounds")
    assert inches.sizes["high"].tolist()[3] == 40.9
    assert inches.before.isna().all(axis=None)


def test_ones_own_clients_are_judged_one_by_one(tmp_path, capsys, monkeypatch):
    """In the command and its report, and as a list of clients is judged alone."""
    file, mine, report = (tmp_path / n for n in ("own.csv", "mine.csv", "mine.html"))
    file.write_text(
        "sex,age_years,body_mass_kg,hip_circumference_cm\n"
        "female,74,68,100\nmale,60,90,150\nfemale,80,,\n"
    )
    chart = sized(load_limit_kg=120, **{f"{HIP}_low": 90, f"{HIP}_high": 110})
    write_chart(chart, mine)
    words = ["chart", str(mine), "--draws", "2", "--people", str(file)]
    assert main([*words, "--out", str(report)]) == 0
    told = capsys.readouterr().out
    assert told.startswith(
        "One by one, with the error of each reading, a size more likely fits than not "
        "for 2 of 3 clients; for 1 of 2 something is still to be measured. No size is "
        "named for row 3.\n"
    )
    page = report.read_text(encoding="utf-8")
    assert "Your clients, one by one" in page and "hip girth" in page
    # Before, the share of three people was said to hold for a population.
    for part in (
        "of these 3 clients (caseload own).",
        "if these were picked by chance",
        "counts the typical error of the body model",
    ):
        assert part in told and part in page
    assert "n = 3)" not in told
    own = read_caseload(file, draws=2)
    # Three of three are no proof that such a chart fits all.
    sizes = {"size": ["any"], "stature_cm_low": [100], "stature_cm_high": [230]}
    wide = chart_from(pd.DataFrame(sizes), warn=False)
    assert "% to over 99 % (95 % interval)" in judge_chart(own, wide).summary()
    alone = judge_clients(chart, read_clients(file))
    same = ["row", "fits", "chance", "how_sure", "measure"]
    pd.testing.assert_frame_equal(
        clients_served(own, chart)[same], alone[same], check_dtype=False
    )
    assert clients_served(load_people("bariatric", draws=1), chart) is None
    monkeypatch.setattr("sizing.client.own_chart.MOST_CLIENTS", 2)
    assert main([*words, "--out", str(report)]) == 0
    why = "are not judged one by one here"
    assert why in capsys.readouterr().out
    assert why in report.read_text(encoding="utf-8")


def held(x, weight, low, width):
    return weight[((x >= low) & (x <= low + width)).all(axis=1)].sum()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([3, 1_000]))
def test_no_box_of_these_widths_holds_more(seed, most):
    rng = np.random.default_rng(seed)
    x, weight = rng.integers(0, 90, (12, 3)), rng.random(12)
    width = rng.integers(0, 40, 3)
    low, proved = fullest_box(x, weight, width, most=most)
    grid = product(range(0, 100, 10), repeat=3)
    best = max(held(x, weight, low, width) for low in grid)
    found = held(x, weight, low, width)
    # Stopped early it gives a box that it does not call the best.
    assert found == pytest.approx(best) if proved else 0 <= found <= best + 1e-9
    assert proved or most == 3


@pytest.fixture(scope="module")
def clients():
    rng = np.random.default_rng(5)
    hip = rng.normal(105, 14, 150).round(1)
    mass = (0.9 * hip - 20 + rng.normal(0, 9, 150)).round(1)
    return people_from(pd.DataFrame({HIP: hip, MASS: mass}), name="mine")


@pytest.fixture(scope="module")
def chart():
    bands = {HIP: [(85, 97), (97, 112)], MASS: [(50, 70), (65, 90)]}
    return made(bands, load=[120, 92])


def covered(people, chart):
    return fits_matrix(people.frame, chart).any(axis=1).mean()


def test_no_edge_moved_so_far_reaches_more(clients, chart):
    found = what_to_change(clients, chart).query("change == 'edge'").iloc[0]
    now, gains = covered(clients, chart), []
    for size, name, end in product(chart.sizes, chart.measures, ("low", "high")):
        edge = chart.frame.set_index("size").loc[size, f"{name}_{end}"]
        step = FURTHEST[name[-2:]] * (1 if end == "high" else -1)
        moved = with_edge(chart, size, name, end, edge + step)
        gains.append(covered(clients, moved) - now)
    assert found["estimate"] == pytest.approx(max(gains)) and max(gains) > 0
    assert found["left_out"] == pytest.approx(1 - now) and not found["halved"]


def test_the_size_more_is_the_one_that_the_bands_search_finds(clients, chart):
    rows = what_to_change(clients, chart).query("change == 'size'")
    left = ~fits_matrix(clients.frame, chart).any(axis=1)
    rest = people_from(clients.frame.loc[left, [HIP, MASS]], name="left out")
    widths = {row["measure"]: row["to"] - row["from"] for _, row in rows.iterrows()}
    fitted = fit_bands(rest, widths=widths, sizes=1, splits=0, step_cm=1, smooth_cm=0)
    assert rows["estimate"].iloc[0] == pytest.approx(fitted.share * left.mean())


def test_the_gain_is_counted_among_those_it_was_not_chosen_among():
    people = load_people("bariatric", draws=2)
    found = what_to_change(people, demo_chart())
    assert found["halved"].all() and (found["n"] == people.n - people.n // 2).all()
    assert (found["low"] >= 0).all() and (found["estimate"] <= found["left_out"]).all()
    edge, size, how = change_words(found)
    assert edge.startswith("One edge moved")
    assert size.startswith("One size more: weight")
    assert "one half" in how and "only its supplier" in how and found["proved"].all()
    assert "not proved" in change_words(found.assign(proved=False))[-1]
    assert set(found.query("change == 'size'")["size"]) == {ONE_MORE}


def test_nothing_is_promised_where_nobody_is_left_out(clients, chart):
    wide = chart.frame.assign(load_limit_kg=np.nan)
    wide[[f"{HIP}_low", f"{MASS}_low"]] = 0
    wide[[f"{HIP}_high", f"{MASS}_high"]] = 900
    found = what_to_change(clients, chart_from(wide, warn=False))
    assert found.empty and change_words(found) == []


def test_an_own_chart_is_judged_by_the_counts_of_its_people():
    """Of a hundred like people three in ten are too heavy for what fits them."""
    hip = np.repeat([80.0, 100.0, 130.0], [40, 50, 10])
    mass = np.where(np.arange(100) % 10 < 3, 121.0, 90.0)
    own = people_from(pd.DataFrame({HIP: hip, MASS: mass}))
    limits = {HIP: [(70, 105), (90, 110)], MASS: [(None, 100), (None, None)]}
    chart = made(limits, load=[120, None])
    found = judge_chart(own, chart, replicates=2000)
    assert found.between.empty and (found.sizes["n"] == 100).all()
    sizes = found.sizes.set_index("size")
    # The first 90 have hips of size one, 27 of them over its load; 50 of size two.
    for name, counts in (
        ("fits", [63, 50]),
        ("needs", [28, 15]),
        ("load_first", [27, 0]),
    ):
        assert sizes[name].tolist() == pytest.approx(np.array(counts) / 100)
        for size, count in zip(("one", "two"), counts, strict=True):
            interval = binomtest(count, 100).proportion_ci(method="wilson")
            ends = sizes.loc[size, [f"{name}_low", f"{name}_high"]].tolist()
            # With t for a normal, and a bootstrap's noise.
            assert ends == pytest.approx([interval.low, interval.high], abs=0.012)
    assert sizes["unneeded"].tolist() == [False, False]
    np.testing.assert_array_equal(sizes["load_limit_kg"], [120, np.nan])
    assert found.coverage.table["estimate"].iloc[0] == pytest.approx(0.78)
    wide = with_edge(chart, "two", HIP, "high", None)
    moved = nudge(own, chart, wide).table.iloc[0]
    shares = moved[["share_a", "share_b", "estimate"]].tolist()
    assert shares == pytest.approx([0.78, 0.88, 0.1])
    assert moved["changed"] == 10 and moved["n"] == 100
    half = stats.t.ppf(0.975, 99) * np.sqrt(0.1 * 0.9 / 99)
    assert [moved["low"], moved["high"]] == pytest.approx([0.1 - half, 0.1 + half])


def test_a_survey_design_is_kept_where_an_edge_is_moved():
    frame = pd.DataFrame({STATURE: np.linspace(150, 190, 24)})
    people = people_from(frame)
    alone = nudge_layout(people)
    assert alone.unit.tolist() == list(range(24)) and set(alone.stratum) == {0}
    design = people.frame.assign(stratum=1, unit=np.arange(24) // 4)
    place = nudge_layout(replace(people, frame=design))
    assert place.unit.tolist() == [i // 4 for i in range(24)]
