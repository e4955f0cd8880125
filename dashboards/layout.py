"""What is on every page of the board: the HTML around it, header, picture frame, stores."""

from __future__ import annotations

from dash import dcc, html

from firelog.view import palette

INDEX = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<title>{%title%}</title>
<link rel="icon" type="image/svg+xml" href="/assets/mark.svg">
<style>__COLOURS__</style>
{%css%}
<script src="/assets/early.js"></script>
</head>
<body>
<a class="skip" href="#page">to the content</a>
<section id="desk" class="desk" aria-label="alarms" tabindex="0">
<p id="desk-lost" class="desk-line warned" role="status" hidden></p>
<div id="desk-cards" aria-live="assertive">__DESK__</div>
</section>
{%app_entry%}
<noscript><p class="said">The board needs JavaScript, which is switched off in this browser.
<code>firelog judge</code> says the same in a terminal.</p></noscript>
<footer>{%config%}{%scripts%}{%renderer%}</footer>
</body>
</html>"""

DESK = "__DESK__"  # where the alarms that stand are put into the first HTML
WAYS = (  # the bar, and the addresses that lie on each of its ways (assets/way.js marks them)
    ("tonight", "/tonight"),
    ("morning", "/morning"),
    ("firings", "/"),
    ("heats", "/heats"),
    ("castings", "/castings"),
)


def layout() -> html.Div:
    """Return what Dash shows first; pages are put into it."""
    header = html.Header(
        [
            dcc.Link("firelog", href="/", className="mark", title="all firings"),
            html.Nav(
                [dcc.Link(word, href=href) for word, href in WAYS],
                className="ways",
                **{"aria-label": "pages"},
            ),
            html.Div(
                [
                    html.Span("", id="live-word", className="live-word", role="status"),
                    html.Span("", id="live-value", className="live-value"),
                    html.Span("", id="live-age", className="live-age"),
                ],
                id="strip",
                className="strip",
                hidden=True,
            ),
            html.Div(
                [
                    html.Button("sound off", id="sound-button", **{"aria-pressed": "false"}),
                    html.Button("°C", id="unit-button", title="show the other unit"),
                    html.Button("night", id="theme-button", title="day or night"),
                ],
                className="tools",
            ),
        ],
        className="top",
    )
    graph = dcc.Graph(
        id="trace",
        figure={"data": [], "layout": {"xaxis": {"visible": False}, "yaxis": {"visible": False}}},
        config={
            "displaylogo": False,
            "displayModeBar": False,
            "responsive": True,
            "doubleClick": "reset",
        },
        responsive=True,
    )
    whole = html.Button("whole firing", id="whole-button", className="whole", hidden=True)
    picture = html.Div(
        [graph, whole, _switch()],
        id="picture",
        className="picture",
        hidden=True,
        tabIndex="0",
        **{"role": "group", "aria-label": "chart of temperatures"},  # hand.js says of which
    )
    return html.Div(
        [
            header,
            html.Main(
                [
                    html.Nav(id="came", className="came", hidden=True, **{"aria-label": "back"}),
                    html.Div(id="page-top"),
                    _hand(),
                    picture,
                    # Filled by chart.js: read an instant, the stretch as a table and as CSV.
                    html.Div(id="closer", className="closer", hidden=True),
                    html.Div(id="page-bottom"),
                ],
                id="page",
                tabIndex="-1",
            ),
            dcc.Location(id="url", refresh=False),
            dcc.Interval(id="beat", interval=1000),
            dcc.Store(id="unit", storage_type="local"),
            dcc.Store(id="theme"),
            dcc.Store(id="night", data=palette.to_night()),
            dcc.Store(id="watch"),
            dcc.Store(id="drawn"),
            dcc.Store(id="ask"),
            dcc.Store(id="latest"),
            dcc.Store(id="titled"),
        ]
    )


def _hand() -> html.Div:
    """What a hand does to the picture: move it (else the page scrolls), closer, wider, all of it.

    Everything here works in the browser (assets/hand.js), with keys as well.
    """
    words = (
        ("hand-move", "move the chart", "a finger moves the chart; off, it scrolls the page"),
        ("hand-closer", "closer", "look closer (+)"),
        ("hand-wider", "wider", "see more (−)"),
        ("hand-fill", "fill the screen", "the chart alone, on the whole screen"),
        ("hand-print", "print the record", "on paper, as the report draws it"),
    )
    buttons = [html.Button(text, id=name, title=title) for name, text, title in words]
    return html.Div(
        buttons,
        id="hand",
        className="hand",
        hidden=True,
        **{"role": "group", "aria-label": "the chart"},
    )


def _switch() -> html.Div:
    """Choose what the lower panel is held against: how well was each step done, or how late."""
    words = (
        ("steps-button", "step by step", "off the target of each step, from when it really began"),
        ("clock-button", "by the clock", "off the plan as drawn from the firing's start"),
    )
    buttons = [
        html.Button(text, id=name, title=title, **{"aria-pressed": "false"})
        for name, text, title in words
    ]
    return html.Div(
        [html.Span("held"), *buttons],
        id="against",
        className="against",
        hidden=True,
        **{"role": "group", "aria-label": "the lower panel is held against"},
    )
