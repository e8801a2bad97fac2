"""One HTML page to look through a roll: opens from the disk, asks nothing of a network, is a list without script."""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from statistics import median


@dataclass(frozen=True, slots=True)
class PageFrame:
    """One frame of the page."""

    number: str
    jpeg: bytes | None
    """The picture, as a JPEG file; None where there is none."""
    size_px: tuple[int, int] = (3, 2)
    """Width and height of the picture."""
    status: str = ""
    """"taken", "skipped" ..."""
    facts: tuple[tuple[str, str], ...] = ()
    """What is known, name and value."""
    findings: tuple[str, ...] = ()
    """What the check found, a sentence each."""
    picked: bool = False


def roll_page(frames: Sequence[PageFrame], *, title: str, facts: Sequence[tuple[str, str]] = ()) -> str:
    """Write the page.

    Parameters
    ----------
    frames : sequence of PageFrame
        In the film's order.
    title : str
    facts : sequence of (str, str)
        About the roll, name and value.

    Returns
    -------
    str
        HTML 5, everything inside: pictures, style, script. The same frames give the same text.
    """
    items = "\n".join(_item(place, len(frames), frame) for place, frame in enumerate(frames))
    about = _facts(facts)
    # All places are alike, as most pictures are; one that stands upright among them is fitted in.
    shapes = [frame.size_px[0] / frame.size_px[1] for frame in frames if frame.jpeg is not None]
    shape = f"{median(shapes) if shapes else 1.5:.3f}"
    return _PAGE.format(title=escape(title), about=about, items=items, shape=shape, style=_STYLE, script=_SCRIPT)


def _item(place: int, count: int, frame: PageFrame) -> str:
    name = f"Frame {escape(frame.number)}"
    width, height = frame.size_px
    picture = (
        f'<img alt="{name}" width="{width}" height="{height}" '
        f'src="data:image/jpeg;base64,{base64.b64encode(frame.jpeg).decode("ascii")}">'
        if frame.jpeg is not None
        else f'<div class="none">{escape(frame.status or "no picture")}</div>'
    )
    marks = '<span class="pick" title="chosen by hand">chosen</span>' if frame.picked else ""
    if frame.findings:
        marks += f'<span class="found">{len(frame.findings)} found</span>'
    found = "".join(f"<li>{escape(text)}</li>" for text in frame.findings)
    place_words = f"{place + 1} of {count} &#8592; &#8594; Esc"
    return (
        f'<li class="frame" id="f{place}"><figure><a href="#f{place}" class="open">{picture}</a>'
        f"<figcaption><h2>{name}<small>{place_words}</small></h2>"
        f'<p class="marks"><span>{escape(frame.status)}</span>{marks}</p>'
        f"<dl>{_facts(frame.facts)}</dl>{f'<ul>{found}</ul>' if found else ''}</figcaption></figure></li>"
    )


def _facts(facts: Sequence[tuple[str, str]]) -> str:
    return "".join(f"<div><dt>{escape(key)}</dt> <dd>{escape(value)}</dd></div>" for key, value in facts if value)


_STYLE = """
:root{color-scheme:light dark;--paper:#fbfaf7;--ink:#1d1d1f;--quiet:#66666b;--line:#d9d6cf;
--pick:#b3261e;--found:#8a5a00}
@media (prefers-color-scheme:dark){
:root{--paper:#161617;--ink:#e9e7e2;--quiet:#a2a09a;--line:#38373a;--pick:#ff8a80;--found:#f2b84b}}
*{box-sizing:border-box}
body{margin:0;padding:1.5rem clamp(1rem,3vw,3rem);background:var(--paper);color:var(--ink);
font:1rem/1.45 system-ui,sans-serif}
h1{font-size:1.5rem;margin:0 0 .5rem}h2{font-size:1rem;margin:0}
.about,figcaption dl{display:flex;flex-wrap:wrap;gap:.1rem 1.2rem;margin:.3rem 0;padding:0}
dt,dd{display:inline;margin:0}dt{color:var(--quiet)}dt::after{content:":"}
.keys{color:var(--quiet);font-size:.9rem}
ol{list-style:none;margin:1.5rem 0;padding:0;display:grid;gap:1.5rem;
grid-template-columns:repeat(auto-fill,minmax(min(100%,22rem),1fr))}
figure{margin:0}img{display:block;width:100%;height:auto;aspect-ratio:var(--shape);object-fit:contain;
background:var(--line)}
.none{display:grid;place-items:center;aspect-ratio:var(--shape);border:1px dashed var(--line);color:var(--quiet)}
figcaption{padding:.5rem 0;font-size:.9rem}.marks{margin:.1rem 0;display:flex;gap:.8rem}
.pick{color:var(--pick)}.found,figcaption ul{color:var(--found)}figcaption ul{margin:.3rem 0;padding-left:1.1rem}
.open{display:block}.open:focus-visible{outline:3px solid var(--found);outline-offset:2px}
.large .open:focus-visible{outline:none}
h2 small{display:none;font-weight:normal;color:var(--quiet);margin-left:1rem}.large h2 small{display:inline}
.large ol{display:block;margin:0}.large .frame,.large header{display:none}
.large .frame.now{display:block}.large body{padding:.6rem}
.large img{width:auto;aspect-ratio:auto;max-width:100%;max-height:calc(100vh - 9rem);margin:auto}
.large figcaption{max-width:70rem;margin:auto}
@media print{.keys{display:none}li.frame{break-inside:avoid}}
"""
_SCRIPT = """
"use strict";
const frames=[...document.querySelectorAll(".frame")],root=document.documentElement;let now=-1;
function show(n){
if(n<0){root.classList.remove("large");const seen=frames[now];now=-1;
if(seen){seen.classList.remove("now");seen.scrollIntoView({block:"center"});seen.querySelector(".open").focus()}return}
n=Math.min(Math.max(n,0),frames.length-1);if(now>=0)frames[now].classList.remove("now");
now=n;frames[n].classList.add("now");root.classList.add("large");scrollTo(0,0);frames[n].querySelector(".open").focus()}
frames.forEach((f,n)=>f.querySelector(".open").addEventListener("click",e=>{e.preventDefault();show(now<0?n:-1)}));
addEventListener("keydown",e=>{if(e.ctrlKey||e.metaKey||e.altKey)return;
const go={ArrowRight:now+1,ArrowDown:now+1," ":now+1,ArrowLeft:now-1,ArrowUp:now-1,Home:0,End:frames.length-1}[e.key];
if(e.key==="Escape"&&now>=0){show(-1);e.preventDefault()}
else if(go!==undefined&&(now>=0||e.key==="ArrowRight")){show(Math.max(go,0));e.preventDefault()}});
document.querySelector(".keys").hidden=false;
"""
_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" \
content="default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'">
<title>{title}</title>
<style>{style}</style>
</head>
<body>
<header>
<h1>{title}</h1>
<dl class="about">{about}</dl>
<p class="keys" hidden>A picture opens large at a click or a key: → and ← go through the roll, Esc goes back.</p>
</header>
<main><ol style="--shape:{shape}">
{items}
</ol></main>
<script>{script}</script>
</body>
</html>
"""
