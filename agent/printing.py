"""A recipe as one page of HTML to be printed, A4 or Letter, and ticked with a pen.

Everything is in the file: no script, no picture, no font from elsewhere.
"""

import re
from collections.abc import Iterable, Iterator
from html import escape

from advisor.effects import Batch
from advisor.stages import Stage
from advisor.units import parts_from_fraction
from advisor.wording import number, percent
from agent.calculators import Recipe, say
from agent.sheets import POURED, other_cautions, said_of_check, stages

MOST_TICKS = 40
"""More boxes than this nobody ticks. [1]"""

_LAST = (
    "Safety data sheets, local codes and licensed people decide; where they say otherwise, they "
    "are right."
)

_BOX = '<span class="box"></span>'
_MARK = "<i>\u25b2</i>\u00a0"

_APART = re.compile(r"(?<=[0-9]) (?=[%°×]|(?:m?L|mg|mm|gal|fl|oz)\b)")
"""Between a number and its unit no line breaks."""

_STYLE = """\
:root { --ink: #14201e; --soft: #4c5a56; --line: #b7c0b9; --water: #0f5c86; --conc: #85460a;
  --warn: #6e4700; }
@page { size: auto; margin: 9mm 12mm; }
* { box-sizing: border-box; }
body { margin: 0; color: var(--ink); background: #fff; print-color-adjust: exact;
  font: 8.8pt/1.32 system-ui, "Segoe UI", "Liberation Sans", Arial, sans-serif; }
main { display: grid; gap: 2.6mm; }
header { display: flex; justify-content: space-between; align-items: end; gap: 6mm;
  border-bottom: 1.2mm solid var(--water); padding-bottom: 1.8mm; }
h1 { font-size: 14pt; line-height: 1.15; margin: 0; font-weight: 650; }
h2 { font-size: 8.4pt; margin: 0 0 1mm; letter-spacing: .06em; text-transform: uppercase;
  color: var(--soft); font-weight: 650; }
.blanks { display: grid; grid-template-columns: auto 34mm; gap: .8mm 2mm; font-size: 8pt;
  color: var(--soft); white-space: nowrap; }
.blanks i, .rule { border-bottom: .3mm solid var(--line); }
.figures { display: grid; grid-auto-flow: column; grid-auto-columns: 1fr; gap: 3mm; margin: 0; }
.figures div { border-left: 1mm solid var(--line); padding: .2mm 0 .2mm 2mm; }
.figures .water { border-color: var(--water); }
.figures .conc { border-color: var(--conc); }
.figures dt { font-size: 7.6pt; color: var(--soft); }
.figures dd { margin: 0; font-size: 12pt; font-weight: 650; line-height: 1.15; }
.figures small { display: block; font-size: 7.8pt; font-weight: 400; color: var(--soft); }
.columns { display: grid; grid-template-columns: 1fr 61mm; gap: 6mm; }
.columns > * { min-width: 0; }
aside { display: grid; gap: 3.4mm; align-content: start; }
ol { list-style: none; margin: 0; padding: 0; counter-reset: step; }
ol > li { counter-increment: step; position: relative; padding: .75mm 0 .75mm 11mm;
  border-top: .2mm solid var(--line); break-inside: avoid; }
ol > li::before { content: counter(step); position: absolute; left: 5.2mm; width: 4.4mm;
  text-align: right; color: var(--soft); font-variant-numeric: tabular-nums; }
.box { display: inline-block; width: 3.2mm; height: 3.2mm; border: .35mm solid var(--ink);
  border-radius: .4mm; background: #fff; }
ol > li > .box { position: absolute; left: 0; top: 1.3mm; }
.beware { display: block; color: var(--warn); font-size: 7.7pt; line-height: 1.25; }
.beware i, .bewares i { font-style: normal; font-size: 5.6pt; color: var(--warn);
  margin-right: .4mm; }
.ticks { display: flex; flex-wrap: wrap; gap: 1.2mm; padding: .9mm 0 .7mm; }
.ticks .box:nth-child(5n) { margin-right: 2mm; }
.reading { border: .35mm solid var(--ink); border-radius: 1mm; padding: 2mm 2.5mm; }
.reading p { margin: 0 0 1mm; }
.sum { display: grid; grid-template-columns: 1fr auto 1fr auto 1fr; gap: 1mm; align-items: end;
  font-size: 7.6pt; color: var(--soft); text-align: center; }
.sum b { font-weight: 400; font-size: 11pt; color: var(--ink); }
.sum .rule { height: 6mm; }
ul { margin: 0; padding: 0; list-style: none; }
ul li { padding: .3mm 0; font-size: 8pt; line-height: 1.28; }
.bewares li { break-inside: avoid; padding-left: 3.6mm; text-indent: -3.6mm; }
main > section .bewares { columns: 2; column-gap: 6mm; }
footer { border-top: .2mm solid var(--line); padding-top: 1.2mm; font-size: 7.6pt;
  color: var(--soft); }
.dense { font-size: 7.7pt; line-height: 1.2; }
.dense main { gap: 1.8mm; }
.dense h1 { font-size: 12pt; }
.dense .figures dd { font-size: 11pt; }
.dense header { padding-bottom: 1.2mm; }
.dense .columns { grid-template-columns: 1fr 54mm; gap: 5mm; }
.dense aside { gap: 2.6mm; }
.dense ol > li { padding-top: .4mm; padding-bottom: .4mm; }
.dense ol > li > .box { top: .8mm; }
.dense .beware { font-size: 6.9pt; line-height: 1.16; }
.dense ul li { font-size: 7.3pt; }
@media screen { body { background: #e4e7df; }
  main { background: #fff; width: 210mm; min-height: 270mm; margin: 8mm auto; padding: 10mm 12mm;
    box-shadow: 0 1mm 5mm #0003; align-content: start; } }
"""


def as_page(recipe: Recipe) -> str:
    """The recipe as a page of HTML."""
    dense = ' class="dense"' if recipe.is_change_out else ""
    return "\n".join(
        [
            '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{escape(recipe.title)}</title>\n<style>\n{_STYLE}</style>\n</head>",
            f"<body{dense}>\n<main>",
            *_head(recipe),
            *_figures(recipe),
            '<div class="columns">',
            *_steps(recipe),
            "<aside>",
            *_reading(recipe),
            *_list("Why", recipe.why),
            *(_bewares(recipe) if recipe.is_change_out else ()),
            "</aside>\n</div>",
            *(() if recipe.is_change_out else _bewares(recipe)),
            f"<footer>{_LAST}</footer>",
            "</main>\n</body>\n</html>\n",
        ]
    )


def _head(recipe: Recipe) -> Iterator[str]:
    """Title, and blanks for where, when and who."""
    title = f"Change-out: {recipe.title[0].lower()}{recipe.title[1:]}"
    yield f"<header><h1>{_text(title if recipe.is_change_out else recipe.title)}</h1>"
    blanks = "".join(f"<span>{name}</span><i></i>" for name in ("Sump", "Date", "By"))
    yield f'<div class="blanks">{blanks}</div></header>'


def _figures(recipe: Recipe) -> Iterator[str]:
    """The amounts, large. [L]"""
    mix, after = recipe.mix, recipe.after
    strength = after.concentration.value
    shown = [
        ("", "drain first", recipe.drain),
        ("water", "water", mix.water),
        ("conc", "concentrate", mix.concentrate),
        ("", "in the sump then", after.volume.value),
    ]
    yield '<dl class="figures">'
    for kind, name, volume in shown:
        if volume > 0.0:
            own, _, litres = say(volume, recipe.measure).partition(" (")
            besides = f"<small>{escape(litres.rstrip(')'))}</small>" if litres else ""
            yield f'<div class="{kind}"><dt>{name}</dt><dd>{escape(own)}{besides}</dd></div>'
    parts = f"of the mix, {number(parts_from_fraction(strength), 2)} parts to 100 of water"
    yield f"<div><dt>which is</dt><dd>{percent(strength)}<small>{parts}</small></dd></div>"
    yield "</dl>"


def _steps(recipe: Recipe) -> Iterator[str]:
    """The stages, each with a box to tick, one for each of its buckets, and its cautions."""
    poured = iter(recipe.portions)
    yield "<section><h2>Steps</h2>\n<ol>"
    for stage in stages(recipe):
        ticks = _ticks(next(poured)[1]) if stage.name.startswith(POURED) else ""
        yield f"<li>{_BOX}{_text(stage.text)}{ticks}{_beware(stage)}</li>"
    yield "</ol></section>"


def _ticks(batch: Batch) -> str:
    """Boxes for so many buckets, where they are several and not too many to tick."""
    if not 1 < batch.count <= MOST_TICKS:
        return ""
    return f'<span class="ticks">{_BOX * batch.count}</span>'


def _beware(stage: Stage) -> str:
    """Cautions of a stage, in one paragraph."""
    if not stage.cautions:
        return ""
    marked = f" {_MARK}".join(_text(caution) for caution in stage.cautions)
    return f'<span class="beware">{_MARK}{marked}</span>'


def _reading(recipe: Recipe) -> Iterator[str]:
    """What a refractometer should say, and room for what it says."""
    if not recipe.portions:
        return
    target = percent(recipe.after.concentration.value)
    before = "" if recipe.brix is None else f"<b>{number(recipe.brix, 2)} °Brix</b>, which is "
    factor = "" if recipe.factor is None else number(recipe.factor, 3)
    yield (
        '<section class="reading"><h2>Reading</h2>'
        f"<p>Expected: {_together(before)}<b>{_text(target)} of the mix</b></p>"
        '<div class="sum"><span class="rule"></span><b>×</b>'
        f'<span class="rule"><b>{factor}</b></span><b>=</b><span class="rule"></span>'
        "<span>°Brix</span><span></span><span>factor</span><span></span><span>% of the mix</span>"
        "</div></section>"
    )
    yield from _list("What it says", said_of_check(recipe))


def _bewares(recipe: Recipe) -> Iterator[str]:
    """Cautions that no stage has said."""
    left = other_cautions(recipe)
    if left:
        items = "".join(f"<li>{_MARK}{_text(caution)}</li>" for caution in left)
        yield f'<section><h2>Cautions</h2><ul class="bewares">{items}</ul></section>'


def _text(words: str) -> str:
    """Words as HTML, a number together with its unit."""
    return _together(escape(words))


def _together(html: str) -> str:
    """HTML in which no line breaks between a number and its unit."""
    return _APART.sub("\u00a0", html)


def _list(title: str, items: Iterable[str]) -> Iterator[str]:
    """A list under its title, where there is anything in it."""
    shown = [f"<li>{_text(item)}</li>" for item in items]
    if shown:
        yield f"<section><h2>{title}</h2><ul>{''.join(shown)}</ul></section>"
