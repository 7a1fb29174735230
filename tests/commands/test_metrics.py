"""`callkey metrics`: the registry as people and programs see it."""

import json

from typer.testing import CliRunner

from classifier.commands.application import application
from classifier.metrics import METRICS

RUNNER = CliRunner()


def test_every_metric_stands_in_the_table():
    result = RUNNER.invoke(application, ["metrics"])
    assert result.exit_code == 0
    first_words = [line.split()[0] for line in result.stdout.splitlines() if line.strip()]
    assert [word for word in first_words if word in METRICS] == list(METRICS)


def test_one_metric_by_its_name_or_its_column():
    for name in (
        "characteristic_slope",
        "characteristic_slope_khz_per_ms",
        "characteristic_slope_khz_per_ms_se",
    ):
        result = RUNNER.invoke(application, ["metrics", name])
        assert result.exit_code == 0
        assert "column `characteristic_slope_khz_per_ms`" in result.stdout
        assert "LawReinholdPennay2002" in result.stdout


def test_json_holds_what_the_registry_holds():
    rows = json.loads(RUNNER.invoke(application, ["metrics", "--json"]).stdout)
    assert [row["metric"] for row in rows] == list(METRICS)
    duration = next(row for row in rows if row["metric"] == "duration")
    assert (duration["column"], duration["error_column"], duration["unit"]) == (
        "duration_ms",
        "duration_ms_se",
        "ms",
    )


def test_an_unknown_metric_is_one_sentence():
    result = RUNNER.invoke(application, ["metrics", "duraton"])
    assert result.exit_code == 1
    assert result.stderr == "fault  there is no metric `duraton`; did you mean `duration`?\n"
    assert result.stdout == ""
