"""How the HTML papers look: light, dark, on a phone, in print. Every pair of colours has a contrast of 4.5 or more."""

from logger.report import style

# ink of a drawing: the page's variable that stands for it
INKS: dict[str, str] = {
    style.BLACK: "ink",
    style.GREY: "quiet",
    style.LIGHT_GREY: "band",
    style.BLUE: "second",
    style.VERMILLION: "limit",
    style.GREEN: "expected",
    "#ffffff": "paper",
    "#e6e6e6": "grid",
}

CSS = """:root {
  color-scheme: light dark;
  --paper: #ffffff; --ink: #1a1a1a; --quiet: #595959; --line: #8c8c8c; --grid: #e6e6e6; --band: #d0d0d0;
  --second: #005a9c; --limit: #a84300; --expected: #00694d; --caution: #fff3d6; --edge: #8a5a00;
}
@media (prefers-color-scheme: dark) {
  :root {
    --paper: #161616; --ink: #ececec; --quiet: #b0b0b0; --line: #7d7d7d; --grid: #333333; --band: #4a4a4a;
    --second: #7cc4ff; --limit: #ff9d5c; --expected: #5fd3ae; --caution: #33270d; --edge: #e0a63a;
  }
}
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 16px/1.5 "DejaVu Sans", system-ui, sans-serif; }
main { max-width: 70rem; margin: 0 auto; padding: 1rem; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: 0.5rem 0 0; }
h2 { font-size: 1.25rem; margin: 2.2rem 0 0.6rem; border-bottom: 2px solid var(--ink); }
h3 { font-size: 1.05rem; margin: 1.4rem 0 0.4rem; }
.subtitle { margin: 0; font-size: 1.1rem; }
.number, .quiet { color: var(--quiet); font-size: 0.9rem; }
.strong { font-weight: bold; }
ul { padding-left: 1.2rem; } li { margin: 0.25rem 0; overflow-wrap: anywhere; } p { overflow-wrap: anywhere; }
.caution { background: var(--caution); border-left: 6px solid var(--edge); padding: 0.5rem 1rem; margin: 1rem 0; }
.caution p { margin: 0.2rem 0; }
.wide { overflow-x: auto; margin: 0.8rem 0; }
.wide:focus-visible { outline: 3px solid var(--second); }
table { border-collapse: collapse; width: 100%; font-size: 0.86rem; }
caption { text-align: left; font-weight: bold; padding: 0.3rem 0; }
th, td { text-align: left; vertical-align: top; padding: 0.3rem 0.5rem; border-bottom: 1px solid var(--line); }
thead th { border-bottom: 2px solid var(--ink); } tbody th { font-weight: normal; }
.right { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
thead .right { white-space: normal; } .day { white-space: nowrap; }
.facts { width: auto; min-width: 60%; } .facts th { color: var(--quiet); padding-right: 1.5rem; }
.pencil td, .pencil th { height: 2.4rem; border: 1px solid var(--line); }
.big { font-size: 1.1rem; } .many { min-width: 52rem; } .some { min-width: 34rem; }
figure { margin: 1rem 0; break-inside: avoid; } figcaption { color: var(--quiet); font-size: 0.9rem; }
.drawing { display: block; width: 100%; min-width: 36rem; height: auto; }
.signatures { display: flex; flex-wrap: wrap; gap: 2rem; margin-top: 3rem; break-inside: avoid; }
.signatures div { flex: 1 1 14rem; } .signatures p { margin: 0.2rem 0; }
.rule { border-bottom: 1px solid var(--ink); height: 2rem; }
.end { text-align: center; margin: 3rem 0 1rem; font-weight: bold; }
@media print {
  :root {
    --paper: #ffffff; --ink: #000000; --quiet: #595959; --line: #8c8c8c; --grid: #e6e6e6; --band: #d0d0d0;
    --second: #005a9c; --limit: #a84300; --expected: #00694d; --caution: #ffffff; --edge: #8a5a00;
  }
  @page { margin: 16mm; }
  body { font-size: 10pt; } main { max-width: none; padding: 0; }
  h2, h3, caption { break-after: avoid; } tr, .caution { break-inside: avoid; } thead { display: table-header-group; }
  .wide { overflow: visible; } .drawing, .many, .some { min-width: 0; } table { font-size: 8pt; }
  .break { break-after: page; }
}"""
