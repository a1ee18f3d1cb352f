"""The event's small multiples as a file: one chart a series, the same bytes for the same event."""

from __future__ import annotations

import pytest

from reports.event_figures import event_figure_files, trends_figure
from telemetry.event import Event, event_from
from tests.telemetry.facts import match_facts, motor_facts

HOSTILE = r"$\frac{1}{2}$ <script>"


@pytest.fixture(scope="module")
def event() -> Event:
    return event_from(
        [
            match_facts(f"m{n}", faults={("dropout", HOSTILE): n}, motors={"feed": motor_facts(5 + 0.5 * n)})
            for n in range(8)
        ]
    )


def test_each_series_has_a_chart_with_its_values_and_its_slope_where_one_is_found(event: Event) -> None:
    figure = trends_figure(event.trends, len(event.matches))
    assert figure is not None
    assert len(figure.axes) == len(event.trends) == 2
    for axes, trend in zip(figure.axes, event.trends, strict=True):
        drawn, slope = axes.get_lines()
        assert tuple(drawn.get_ydata()) == trend.series.values
        rise = (slope.get_ydata()[1] - slope.get_ydata()[0]) / 7
        assert rise == pytest.approx(trend.slope_per_match)


def test_names_stand_as_plain_text_and_the_same_event_gives_the_same_bytes(event: Event) -> None:
    ((name, content),) = event_figure_files(event, "svg")
    assert name == "trends.svg"
    assert r"$\frac{1}{2}$ &lt;script&gt;" in content.decode()
    assert event_figure_files(event, "svg") == ((name, content),)


def test_an_event_without_series_has_no_figure() -> None:
    assert event_figure_files(event_from([match_facts("a")]), "png") == ()
