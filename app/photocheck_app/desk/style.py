"""How the desk looks: dense, for a mouse and a wide screen."""

from __future__ import annotations

from typing import Final

STYLE: Final = """<style>
:root { --desk-ground: #fff; --desk-text: #222; --desk-quiet: #515b61; --desk-line: #dde2e5;
  --desk-told: #e3eef2; --desk-doubted: #fdf1e8; --desk-wrong: #8a3500; --desk-state: #e6eaec;
  --desk-bar: #8fa9b5; --desk-edge: #33515f; --desk-middle: #16323e; }
@media (prefers-color-scheme: dark) {
  :root { --desk-ground: #12181b; --desk-text: #f0f3f4; --desk-quiet: #b9c3c8; --desk-line: #38454b;
    --desk-told: #17333d; --desk-doubted: #3a2413; --desk-wrong: #ffb38a; --desk-state: #38454b;
    --desk-bar: #5f8191; --desk-edge: #a9c3cf; --desk-middle: #e6f0f3; }
}
.stMainBlockContainer:has(.st-key-desk) { padding: 4.1rem 1.4rem 1rem; max-width: 118rem; }
/* the desk has the framework's own letters: they are narrower, and an order fits on one screen */
.st-key-desk, .st-key-desk :is(p, li, th, td, h1, h2, h3, button, input, summary, .stHtml) {
  font-family: "Source Sans", system-ui, sans-serif; }
.st-key-desk { gap: .55rem; }
.st-key-desk [data-testid="stVerticalBlock"] { gap: .55rem; }
.st-key-desk [data-testid="stMarkdownContainer"] p,
.st-key-desk [data-testid="stMarkdownContainer"] li { font-size: .875rem; }
.st-key-desk .stHtml { font-size: .875rem; line-height: 1.35; }
.st-key-desk h1 { font-size: 1.3rem; font-weight: 650; padding: 0; margin: 0; letter-spacing: 0; }
.st-key-desk h2 { font-size: .8125rem; font-weight: 650; padding: 0; margin: .1rem 0 .15rem;
  color: var(--desk-quiet); letter-spacing: .01em; }
.st-key-desk .arrived { background: var(--desk-told); border-left: .25rem solid #1f4e5f;
  padding: .25rem .6rem; }
.st-key-desk .quiet { color: var(--desk-quiet); font-size: .8125rem; }
.st-key-desk .notes { font-size: .8125rem; white-space: pre-line; max-height: 5.6em;
  overflow-y: auto; }
.st-key-desk .chip { display: inline-block; border-radius: .25rem; padding: .05rem .45rem;
  font-size: .8125rem; font-weight: 600; white-space: nowrap; }
.st-key-desk .whole { white-space: nowrap; }
.st-key-desk .agrees { background: #005c45; color: #fff; }
.st-key-desk .could_hide { background: #584278; color: #fff; }
.st-key-desk .measure_again { background: #a03e00; color: #fff; }
.st-key-desk .retake { background: #00588c; color: #fff; }
.st-key-desk .cannot_tell { background: #464646; color: #fff; }
.st-key-desk .state { background: var(--desk-state); color: var(--desk-text); }
.st-key-desk .waiting { background: #1f4e5f; color: #fff; }
.st-key-desk ul.plain { margin: 0; padding: 0; list-style: none; }
.st-key-desk ul.plain li { margin: 0 0 .3rem; font-size: .875rem; }
.st-key-desk ul.plain li:last-child { margin: 0; }
.st-key-desk .st-key-desk_list { gap: .25rem; }
.st-key-desk_list [data-testid="stHorizontalBlock"] { border-top: 1px solid var(--desk-line);
  padding-top: .3rem; }
.st-key-desk_list [data-testid="stColumn"] [data-testid="stVerticalBlock"] { gap: 0; }
.st-key-desk_list .stButton button { padding: 0; min-height: 1.6rem; text-align: left;
  justify-content: flex-start; }
.st-key-desk_list .stButton button p { font-weight: 600; text-decoration: underline;
  text-underline-offset: .2em; text-decoration-thickness: 1px; }
.st-key-desk .st-key-cutting_list { gap: .2rem; }
.st-key-cutting_list [data-testid="stHorizontalBlock"] { border-top: 1px solid var(--desk-line);
  padding-top: .25rem; }
.st-key-cutting_list .stButton button { min-height: 1.7rem; padding: 0 .8rem; }
.st-key-cutting_list .stButton button[kind="tertiary"] { padding: 0; text-align: left;
  justify-content: flex-start; }
.st-key-cutting_list .stButton button[kind="tertiary"] p { font-weight: 600;
  text-decoration: underline; text-underline-offset: .2em; text-decoration-thickness: 1px; }
.st-key-cutting_list .named { display: none; }
@media (max-width: 40rem) {
  .st-key-cutting_list .named { display: inline-block; min-width: 9rem; color: var(--desk-quiet); }
  .st-key-cutting_heads { display: none; } }
table.spans, table.doubt, table.sources { border-collapse: collapse; width: 100%; }
table.spans th, table.spans td, table.doubt th, table.doubt td, table.sources th,
table.sources td { padding: .2rem .4rem .2rem 0; text-align: left; font-weight: 400;
  vertical-align: middle; border: 0; border-top: 1px solid var(--desk-line); line-height: 1.25; }
table.sources th, table.sources td { font-size: .8125rem; vertical-align: top; }
table.spans tbody td:nth-child(3) { padding-right: .8rem; }
table.spans thead th, table.doubt thead th, table.sources thead th { color: var(--desk-quiet);
  font-size: .75rem; border-top: 0; padding-top: 0; vertical-align: bottom; }
table.doubt td:nth-child(2) { white-space: nowrap; }
table.spans small, table.doubt small { font-size: .75rem; color: var(--desk-quiet);
  display: block; }
table.spans tr.doubted { background: var(--desk-doubted); }
table.spans tr.doubted small.said { color: var(--desk-wrong); font-weight: 650; }
table.spans tbody th { position: relative; padding-left: .75rem; white-space: nowrap; }
table.spans .swatch { position: absolute; left: 0; top: .3rem; bottom: .3rem; width: .35rem;
  border: 1px solid var(--desk-edge); }
table.spans tbody small { white-space: nowrap; }
table.spans .figure { width: 40%; padding-right: 0; }
.axis, .lane { position: relative; width: 100%; }
.axis { height: 1rem; font-size: .6875rem; color: var(--desk-quiet); }
.axis span { position: absolute; transform: translateX(-50%); }
.lane { height: 2rem; }
.lane i { position: absolute; display: block; }
.lane .grid { top: -.25rem; bottom: -.25rem; width: 1px; background: var(--desk-line); }
.lane .bar { top: .75rem; height: .55rem; background: var(--desk-bar);
  border: 1px solid var(--desk-edge); }
.lane .bar.open_left { border-left-style: dashed; }
.lane .bar.open_right { border-right-style: dashed; }
.lane .middle { top: .6rem; height: .85rem; width: 2px; margin-left: -1px;
  background: var(--desk-middle); }
.lane .point { top: .66rem; width: .7rem; height: .7rem; margin-left: -.35rem;
  border-radius: 50%; background: #fff; border: 2.5px solid #111; }
.lane .point.doubted { border-radius: 0; transform: rotate(45deg); background: #d55e00;
  border: 2px solid #111; }
.lane .beyond { top: .42rem; font-style: normal; font-weight: 700; color: var(--desk-wrong);
  font-size: .9rem; line-height: 1.2; background: var(--desk-ground); padding: 0 .15rem; }
.lane .beyond.right { right: 0; } .lane .beyond.left { left: 0; }
.st-key-desk [data-testid="stTabs"] [role="tabpanel"] { padding-top: .6rem; }
.st-key-desk [data-testid="stTabs"] [role="tab"] { height: 1.9rem; padding-top: 0; }
.st-key-desk [data-testid="stTabs"] [data-testid="stVerticalBlock"] { gap: .55rem; }
table.figures.long tbody th { white-space: normal; }
table.figures tr.held td, table.figures tr.held th { background: var(--desk-doubted); }
table.figures { border-collapse: collapse; width: 100%; margin: .35rem 0 .5rem; }
table.figures th, table.figures td { padding: .2rem .6rem .2rem 0; text-align: left;
  font-weight: 400; font-size: .8125rem; line-height: 1.25; vertical-align: top; border: 0;
  border-top: 1px solid var(--desk-line); }
table.figures thead th { color: var(--desk-quiet); font-size: .75rem; border-top: 0; padding-top: 0;
  vertical-align: bottom; }
table.figures tbody th { white-space: nowrap; }
@media (max-width: 40rem) { table.figures tbody th { white-space: normal; } }
table.shelf td:nth-child(2) { white-space: nowrap; }
table.cut td { white-space: nowrap; }
table.cut td:nth-child(2) { font-weight: 650; }
table.figures td { font-variant-numeric: tabular-nums; }
table.figures tr.best th, table.figures tr.best td:nth-child(2) { font-weight: 650; }
.st-key-desk .answer { font-weight: 650; margin: .1rem 0 .3rem; }
.st-key-desk_notice { background: var(--desk-told); border-left: .25rem solid #1f4e5f;
  padding: .2rem .6rem; }
.st-key-desk_notice button { min-height: 1.7rem; padding: 0 .6rem; }
.st-key-desk_completing, .st-key-desk_would_fit, .st-key-desk_places { gap: .4rem; }
:is(.st-key-desk_completing, .st-key-desk_would_fit, .st-key-desk_said) button {
  min-height: 2rem; padding: 0 .5rem; }
:is(.st-key-desk_completing, .st-key-desk_would_fit) button p { font-size: .8125rem; }
.st-key-desk_keys { position: fixed; right: 1rem; bottom: 1rem; width: auto; z-index: 5; }
.st-key-desk_keys button { min-height: 2rem; padding: 0 .5rem; background: var(--desk-ground); }
table.doubt .figure { width: 72%; }
.parts { display: flex; width: 100%; height: 1.05rem; gap: 1px; }
.parts i { display: block; font-style: normal; font-size: .6875rem; line-height: 1.05rem;
  text-align: center; overflow: hidden; white-space: nowrap; min-width: 0; }
.keys { display: flex; flex-wrap: wrap; gap: .1rem .8rem; font-size: .75rem; margin-top: .2rem; }
.keys i { display: inline-block; width: .65rem; height: .65rem; margin-right: .3rem; }
.unseen { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%);
  white-space: nowrap; }
</style>"""
