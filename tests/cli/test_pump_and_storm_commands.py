import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

Run = Callable[..., Result]

FOOT, GPM = 0.3048, 231 * 0.0254**3 / 60
LIFT = ("--static-lift", "3 ft", "--pipe", "1-1/2 in sch 40", "--length", "100 ft", "--elbows-90", "3",
        "--elbows-45", "2", "--check-valves", "1")  # fmt: skip


@pytest.fixture
def curve(tmp_path: Path) -> Path:
    """28 ft at no flow and 5 ft at 90 gpm, quadratic between: a half-horse pump as the trade speaks of it."""
    path = tmp_path / "pump.csv"
    path.write_text("flow_gpm,head_ft\n0,28\n90,5\n")
    return path


@pytest.fixture
def rain(tmp_path: Path) -> Path:
    path = tmp_path / "rain.csv"
    path.write_text("duration_min,depth_in_2yr,depth_in_10yr,depth_in_100yr\n10,0.7,1.0,1.5\n60,1.5,2.1,3.2\n")
    return path


def test_pump_json_is_in_si_and_its_heads_add_up(run: Run, curve: Path) -> None:
    result = run("pump", "--curve", curve, *LIFT, "--inflow", "35 gpm", "--basin", "24 in x 36 in", "--json")
    assert result.exit_code == 0, result.stderr
    told = json.loads(result.stdout)
    # common practice, no source: 49.5 gpm within 0.5 comes out of that pump on that line
    assert told["operating_flow_m3s"] / GPM == pytest.approx(49.5, abs=0.5)
    assert told["static_lift_m"] == pytest.approx(3 * FOOT)
    assert told["static_lift_m"] + told["friction_head_m"] + told["minor_head_m"] == pytest.approx(
        told["operating_head_m"], rel=1e-12
    )
    assert (told["inside_diameter_m"], told["hazen_williams_c"]) == (pytest.approx(1.610 * 0.0254), 150.0)
    assert told["jet_height_m"] == pytest.approx(told["velocity_m_s"] ** 2 / (2 * 9.80665), rel=1e-3)
    assert told["starts_per_hour"] > 0
    assert [other["pipe"] for other in told["alternatives"]] == ["2 in sch 40", "3 in sch 40"]
    assert told["alternatives"][0]["operating_flow_m3s"] > told["operating_flow_m3s"]


def test_pump_without_a_basin_says_nothing_of_starts(run: Run, curve: Path) -> None:
    told = json.loads(run("pump", "--curve", curve, *LIFT, "--json").stdout)
    assert told["starts_per_hour"] is None
    assert "starts" not in run("pump", "--curve", curve, *LIFT).stdout


def test_pump_table_shows_larger_sizes_beside_it(run: Run, curve: Path) -> None:
    text = run("pump", "--curve", curve, *LIFT, "--inflow", "35 gpm", "--basin", "24 in x 36 in").stdout
    header, _, *rows = text.splitlines()
    assert header.split("  ")[0] == ""
    for name in ("1-1/2 in sch 40", "2 in sch 40", "3 in sch 40"):
        assert name in header
    labels = [row.strip() for row in rows]
    for label in ("delivered", "static lift", "friction", "fittings and exit", "velocity", "jet over an open end",
                  "starts an hour at most"):  # fmt: skip
        assert any(row.startswith(label) for row in labels)
    assert "licensed electrician" in text


def test_pump_draws_its_curves(run: Run, curve: Path, tmp_path: Path) -> None:
    picture = tmp_path / "pump.png"
    assert run("pump", "--curve", curve, *LIFT, "--plot", picture).exit_code == 0
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert run("pump", "--curve", curve, *LIFT, "--plot", picture).exit_code == 2
    assert run("pump", "--curve", curve, *LIFT, "--plot", picture, "--overwrite").exit_code == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["pump.csv", "pump.png"]


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        (("--static-lift", "8"), "--static-lift"),
        (("--static-lift", "80 ft"), "nothing comes out"),
        (("--pipe", "9 in sch 40"), "not in the catalogue"),
        (("--pipe", "4 in SDR-35"), "no pressure pipe"),
        (("--length", "-5 ft"), "length"),
        (("--elbows-90", "-1"), "--elbows-90"),
        (("--basin", "24 in"), "width x depth"),
        (("--inflow", "35 ft"), "--inflow"),
        (("--curve", "nowhere.csv"), "nowhere.csv"),
    ],
)
def test_pump_input_at_fault_is_named(run: Run, curve: Path, changed: tuple[str, str], told: str) -> None:
    result = run("pump", "--curve", curve, *LIFT, *changed)
    assert result.exit_code == 2
    assert told in result.stderr
    assert result.stdout == ""


def test_storm_of_three_inches_in_twenty_minutes(run: Run, rain: Path) -> None:
    result = run("storm", "--table", rain, "--depth", "3 in", "--duration", "20 min", "--json")
    told = json.loads(result.stdout)
    # 3 in in 20 min is 9 in/h
    assert told["intensity_mm_h"] == pytest.approx(9 * 25.4)
    assert (told["return_period_yr"], told["beyond_table"], told["below_table"]) == (None, True, False)
    assert [row["return_period_yr"] for row in told["same_duration"]] == [2, 10, 100]


def test_storm_within_and_below_the_table(run: Run, rain: Path) -> None:
    def told(depth: str) -> dict[str, object]:
        answer: dict[str, object] = json.loads(
            run("storm", "--table", rain, "--depth", depth, "--duration", "1 h", "--json").stdout
        )
        return answer

    assert told("2.1 in")["return_period_yr"] == pytest.approx(10.0)
    below = told("0.2 in")
    assert (below["return_period_yr"], below["beyond_table"], below["below_table"]) == (None, False, True)


def test_storm_is_told_in_words(run: Run, rain: Path) -> None:
    def text(depth: str) -> str:
        return run("storm", "--table", rain, "--depth", depth, "--duration", "60 min").stdout

    assert "return period: about 10 yr" in text("2.1 in")
    assert "return period: about 100 yr" in text("3.2 in")
    assert "beyond the table, which ends at 100 yr" in text("9 in")
    assert "below the table, which begins at 2 yr" in text("1 mm")
    assert "  100 yr  3.20 in, 3.20 in/h" in text("1 in")
    assert "  100 yr  81 mm, 81 mm/h" in text("25 mm")


@pytest.mark.parametrize(
    ("depth", "duration", "told"),
    [("3", "20 min", "--depth"), ("3 in", "20", "--duration"), ("3 in", "5 min", "10"), ("-1 in", "20 min", "")],
)
def test_storm_input_at_fault_is_named(run: Run, rain: Path, depth: str, duration: str, told: str) -> None:
    result = run("storm", "--table", rain, "--depth", depth, "--duration", duration)
    assert result.exit_code == 2
    assert told in result.stderr
    assert "Traceback" not in result.stderr
