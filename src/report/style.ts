import { paletteCss } from './palette.ts'

/** How the drawings look; colours are the palette's custom properties. */
export const CHART_CSS = `
svg text{font-size:12.5px;fill:var(--ink);font-variant-numeric:tabular-nums}
svg .axis{fill:var(--slate)}
svg .end{text-anchor:end}
svg .middle{text-anchor:middle}
svg .strong{font-weight:600}
svg .out{fill:var(--rust);font-weight:600}
svg .label{paint-order:stroke;stroke:var(--paper);stroke-width:4px;stroke-linejoin:round}
svg path,svg .mark circle{fill:none;stroke-linejoin:round}
svg .mark{stroke:var(--ink);stroke-width:1.6;fill:none}
svg .band{fill:var(--chart)}
svg .bounds{stroke:var(--slate);stroke-width:.8;stroke-dasharray:6 3}
svg .ground{fill:none}
svg .bordered{stroke:var(--slate);stroke-width:.6}
svg .grid{stroke:var(--slate);stroke-width:.5;stroke-opacity:.35}
svg .ruler{stroke:var(--slate);stroke-width:1}
svg path.silhouette{fill:var(--tide);fill-opacity:.34}
svg .edge{stroke:var(--tide);stroke-width:1.3}
svg .momentary{stroke:var(--ink);stroke-width:.6;stroke-opacity:.55}
svg .source{stroke:var(--slate);stroke-width:1;stroke-dasharray:1.5 2.5}
svg .target{stroke:var(--ink);stroke-width:1.4}
svg .limit{stroke:var(--rust);stroke-width:1.2;stroke-dasharray:9 4}
svg path.pointer{fill:var(--ink)}
svg .hatch{stroke:var(--rust);stroke-width:2}
svg path.outside{stroke:var(--rust);stroke-width:1}
svg path.outside.above{fill:url(#too-loud)}
svg path.outside.below{fill:url(#too-soft)}
svg .lane{font-size:11px;fill:var(--slate)}
svg .laid{stroke:var(--slate);stroke-width:.5;stroke-opacity:.5}
svg path.dialogue{fill:var(--ink)}
svg path.activity{fill:var(--slate);fill-opacity:.75}
svg .bracket,svg .plumb{stroke:var(--ink);stroke-width:1.4}
svg .bracket.fail,svg .plumb.fail{stroke:var(--rust)}
svg .plumb{stroke-dasharray:2 3}
svg .ride{stroke:var(--brass);stroke-width:2}
svg .before{stroke:var(--slate);stroke-width:1}
svg .after{stroke:var(--tide);stroke-width:2.2}
svg path.taken{fill:var(--tide);fill-opacity:.34}
svg .touch{stroke:var(--ink);stroke-width:1.4}
svg .ceiling{stroke:var(--ink);stroke-width:1}
svg .bar{stroke:var(--tide);stroke-width:5}
svg .bar.over{stroke:var(--rust);stroke-dasharray:2 2}
svg .sight{stroke:var(--brass);stroke-width:1.5}
`

/** How the page looks on a screen, at night and on paper. */
export const PAGE_CSS = `
:root{color-scheme:light dark;${paletteCss('light')}}
@media (prefers-color-scheme:dark){:root{${paletteCss('dark')}}}
*{box-sizing:border-box}
html{background:var(--paper)}
body{margin:0 auto;max-width:1040px;padding:28px 40px 56px;color:var(--ink);background:var(--paper);font:14px/1.4 "IBM Plex Sans",sans-serif;font-variant-numeric:tabular-nums}
header{display:flex;align-items:center;gap:10px;color:var(--slate);border-bottom:1px solid var(--slate);padding-bottom:10px}
header .emblem{flex:none}
header b{color:var(--ink)}
header span:last-child{margin-left:auto}
h1{font-size:27px;line-height:1.2;font-weight:600;margin:22px 0 4px;overflow-wrap:anywhere}
h2{font-size:16px;font-weight:600;margin:34px 0 8px}
p{margin:6px 0;max-width:46em}
.verdict{font-size:17px;line-height:1.4;margin:0 0 16px;max-width:44em;overflow-wrap:anywhere}
.state{display:inline-block;font-weight:600;border:1.5px solid;border-radius:3px;padding:0 8px;margin-right:8px}
.state.holds{color:var(--kelp)}
.state.fails{color:var(--rust);border-style:double;border-width:4px}
.pair{display:grid;grid-template-columns:minmax(0,1.75fr) minmax(0,1fr);gap:0 36px;align-items:start}
.pair h2{margin-top:14px}
table{border-collapse:collapse;width:100%}
th,td{text-align:left;vertical-align:baseline;padding:4px 10px 4px 0;border-bottom:1px solid color-mix(in srgb,var(--slate) 35%,transparent)}
thead th{font-weight:400;color:var(--slate);border-bottom-color:var(--slate)}
tbody th{font-weight:400}
th:last-child,td:last-child{padding-right:0}
.number{text-align:right;white-space:nowrap}
.unit,.quiet,small{color:var(--slate)}
small{font-size:12px}
.over{color:var(--rust);font-weight:600}
figure{margin:8px 0 0}
figure svg{display:block;width:100%;height:auto;overflow:visible}
svg[tabindex]:focus-visible{outline:2px solid var(--brass);outline-offset:4px}
figcaption{color:var(--slate);font-size:12.5px;margin-top:6px;max-width:none}
.key{display:flex;flex-wrap:wrap;gap:2px 20px}
.key svg{display:inline-block;width:26px;height:12px;margin-right:6px;vertical-align:-1px}
.head{display:flex;align-items:baseline;gap:20px}
.reading{margin-left:auto;font-size:13px}
.cell{width:34%}
.room{display:block;max-width:100%}
.cell svg{display:block;width:100%;height:16px;overflow:visible}
dl{display:grid;grid-template-columns:max-content minmax(0,1fr);gap:3px 18px;margin:8px 0}
dl.doubled{grid-template-columns:repeat(2,max-content minmax(0,1fr))}
dt{color:var(--slate)}
dd{margin:0;overflow-wrap:anywhere}
code{font:12px ui-monospace,"Liberation Mono",monospace;overflow-wrap:anywhere}
details{margin-top:8px}
summary{cursor:pointer;color:var(--slate)}
ul{padding-left:18px;margin:6px 0;max-width:46em}
li{margin:3px 0}
@media screen and (max-width:760px){dl.doubled{grid-template-columns:max-content minmax(0,1fr)}body{padding:20px 16px 40px}.pair{display:block}.wide{overflow-x:auto}.wide>svg{min-width:640px}}
@media (prefers-reduced-motion:no-preference){.reading{transition:opacity .1s}}
@page{size:auto;margin:13mm 14mm}
@media print{
:root{color-scheme:light;${paletteCss('light')}--paper:#fff}
body{padding:0;max-width:none;font-size:9pt}
h1{font-size:17pt;margin-top:12px}
h2{font-size:11pt;margin:14px 0 4px;break-after:avoid}
.pair h2{margin-top:6px}
.pair .room{width:130px;height:11px}
.verdict{font-size:11.5pt;margin-bottom:8px}
.pair{grid-template-columns:minmax(0,1.6fr) minmax(0,1fr);gap:0 22px}
td,th{padding-top:2.5px;padding-bottom:2.5px}
figure,tr,li,dl{break-inside:avoid}
.second{break-before:page}
.reading,summary,details:not([open]){display:none}
svg text{font-size:14px}
code{font-size:7.4pt}
}
`
