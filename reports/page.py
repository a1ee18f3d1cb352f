"""The page of one match: everything that was found, in one self-contained file."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from markupsafe import Markup

from reports import tables, words
from reports.closeups import close_up
from reports.cycle_chart import cycle_chart
from reports.dwell_chart import dwell_charts, dwell_table
from reports.glance import glance_of, spare_work
from reports.motor_tables import energy_table, load_share_table
from reports.palette import css_variables
from reports.policy import content_policy
from reports.sensor_tables import range_table, travel_table
from reports.strip import cursor_data, grid_drawing, lanes_of, numbers_table, samples_of, strip_of
from reports.verdict import verdict_of
from reports.working_map import map_table, working_maps
from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.finding import Finding, Severity
from telemetry.match_facts import summary_of
from telemetry.wording import HANDS_IN

if TYPE_CHECKING:
    import jinja2

__all__ = ["Video", "environment", "match_page", "render"]

_MOST_ACTIONS = 12
_MOST_CLOSE_UPS = 40

_SCRIPTS = (
    "stretch.js",
    "pixels.js",
    "sheet.js",
    "marks.js",
    "detail.js",
    "film.js",
    "gestures.js",
    "match.js",
)

_MARKER = 'document.documentElement.classList.add("js","early")'
"""Runs before the body is read, so that what needs the script has its place from the start."""


@dataclass(frozen=True)
class Video:
    """A video to stand beside the strip: where it lies, and where in it the match starts."""

    href: str
    start_s: float


def match_page(analysis: Analysis, *, event_href: str | None = None, video: Video | None = None) -> str:
    """The whole HTML of a match's page; `event_href` is where the event's page lies, if there is one."""
    strip = strip_of(analysis)
    lanes = lanes_of(analysis, strip)
    samples = samples_of(lanes, strip)
    maps = list(working_maps(analysis))
    cycles = cycle_chart(analysis)
    return render(
        "match.html.j2",
        script="".join(map(asset, _SCRIPTS)),
        title=f"{analysis.match.name} – {analysis.robot.robot.name}",
        analysis=analysis,
        match=analysis.match,
        robot=analysis.robot.robot,
        verdict=verdict_of(analysis),
        actions=analysis.pit_list[:_MOST_ACTIONS],
        left_out=max(len(analysis.pit_list) - _MOST_ACTIONS, 0),
        lanes=lanes,
        grid=grid_drawing(analysis, strip),
        cursor=Markup(cursor_data(analysis, lanes, strip, samples)),  # noqa: S704 - escaped there for a script element
        samples=samples,
        packed=Markup(samples.text),  # noqa: S704 - base64
        video=video,
        numbers=numbers_table(analysis, strip),
        findings=_findings(analysis),
        gaps=analysis.gaps_s.tolist(),
        tables=tables,
        travels=travel_table(analysis),
        ranges=range_table(analysis),
        typical_cycle_s=summary_of(analysis).median_cycle_s,
        maps=maps,
        map_figures=map_table(maps),
        cycles=cycles,
        glance=glance_of(analysis, cycles),
        spare=spare_work(analysis),
        dwells=list(dwell_charts(analysis)),
        dwell_figures=dwell_table(analysis),
        energy=energy_table(analysis),
        load_share=load_share_table(analysis),
        hands_in=HANDS_IN,
        event_href=event_href,
    )


def render(template: str, *, script: str, **values: object) -> str:
    """A template filled in under the policy that allows our style and this script alone."""
    style = css_variables() + asset("page.css")
    policy = content_policy(scripts=[_MARKER, script] if script else [], styles=[style])
    own = {"style": Markup(style), "marker": Markup(_MARKER), "script": Markup(script)}  # noqa: S704 - our files
    return environment().get_template(template).render(policy=policy, **own, **values)


@cache
def asset(name: str) -> str:
    """One of our own files under `assets/`, as text, without indents and lines of comment."""
    text = files("reports").joinpath("assets", name).read_text(encoding="utf-8")
    lines = [line.lstrip() for line in text.splitlines()]
    return "\n".join(line for line in lines if line and not line.startswith(("//", "/* "))) + "\n"


@cache
def environment() -> jinja2.Environment:
    """The templates, escaping on, every character of a printed text made visible."""
    import jinja2

    from reports.template_cache import TemplateCache

    made = jinja2.Environment(
        loader=jinja2.PackageLoader("reports"), autoescape=True, finalize=_shown,
        undefined=jinja2.StrictUndefined, bytecode_cache=TemplateCache(),
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    made.filters |= {
        "clock": words.clock, "counted": words.counted, "duration": words.duration, "figure": words.number,
        "percent": words.percent, "sureness": words.sureness,
    }  # fmt: skip
    made.globals["heading"] = words.heading
    return made


def _shown(value: object) -> object:
    return words.visible(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _findings(analysis: Analysis) -> list[dict[str, object]]:
    drawn = _worth_drawing(analysis)
    explained: set[str] = set()
    leading = _leading(analysis.findings)
    shown = []
    for number, finding in enumerate(analysis.findings, 1):
        alike = leading[(finding.kind, finding.subject, finding.role)]
        shown.append(
            {
                "number": number,
                "finding": finding,
                "told_by": alike if alike != number else None,
                "title": words.heading(finding.kind, finding.subject, finding.role),
                "meaning": words.kind_words(finding.kind).meaning,
                "explained": finding.kind not in explained,
                "evidence": words.evidence_list(finding.evidence, analysis.match.start_s),
                "close_up": close_up(analysis, finding) if number in drawn else None,
            }
        )
        explained.add(finding.kind)
    return _grouped(shown)


def _grouped(shown: list[dict[str, object]]) -> list[dict[str, object]]:
    """What is told by another finding right behind that one, the others in their order."""
    behind: dict[object, list[dict[str, object]]] = {}
    for item in shown:
        behind.setdefault(item["told_by"], []).append(item)
    return [
        one | {"alike": len(behind.get(one["number"], [])) if one is item else 0}
        for item in behind.get(None, [])
        for one in (item, *behind.get(item["number"], []))
    ]


def _leading(findings: Sequence[Finding]) -> dict[tuple[str, str, str], int]:
    """The number of the first of the gravest of the findings that are alike: it is told in full."""
    order = list(Severity)
    ranked = sorted(enumerate(findings, 1), key=lambda entry: order.index(entry[1].severity))
    leading: dict[tuple[str, str, str], int] = {}
    for number, finding in ranked:
        leading.setdefault((finding.kind, finding.subject, finding.role), number)
    return leading


def _worth_drawing(analysis: Analysis) -> set[int]:
    order = list(Severity)
    ranked = sorted(
        enumerate(analysis.findings, 1),
        key=lambda entry: (order.index(entry[1].severity), -entry[1].confidence),
    )
    return {number for number, _ in ranked[:_MOST_CLOSE_UPS]}
