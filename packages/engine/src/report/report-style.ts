/** The sheet: paper, graphite, hairlines, one accent. Light always; prints as it looks. */
export const REPORT_STYLE = `
:root{--paper:#fbfaf6;--ink:#26282b;--soft:#5c6066;--line:#b9b6ab;--accent:#8a3b12}
*{box-sizing:border-box}
body{margin:0;background:var(--paper);color:var(--ink);font:15px/1.5 "Source Serif 4","Iowan Old Style",Georgia,"Times New Roman",serif;font-variant-numeric:tabular-nums}
main{max-width:1080px;margin:0 auto;padding:28px 24px 60px}
h1{font-size:27px;margin:0 0 2px;font-weight:600}
h2{font-size:19px;margin:38px 0 10px;padding-top:10px;border-top:1px solid var(--ink);font-weight:600}
h3{font-size:15px;margin:20px 0 6px;font-weight:600}
p{max-width:74ch;margin:8px 0}
.small,figcaption,.remark{font:12px/1.45 "Source Sans 3","Segoe UI",Helvetica,Arial,sans-serif;color:var(--soft)}
table.data{border-collapse:collapse;width:100%;font:13px/1.4 "Source Sans 3","Segoe UI",Helvetica,Arial,sans-serif;margin:8px 0}
table.data th{text-align:left;font-weight:600;border-bottom:1px solid var(--ink);padding:4px 8px;vertical-align:bottom}
table.data td{border-bottom:1px solid var(--line);padding:4px 8px;vertical-align:top}
table.data td.n,table.data th.n{text-align:right;white-space:nowrap}
.wide{overflow-x:auto}
code{font:12px/1.4 "IBM Plex Mono",Consolas,"DejaVu Sans Mono",monospace;overflow-wrap:anywhere}
pre{font:12px/1.5 "IBM Plex Mono",Consolas,"DejaVu Sans Mono",monospace;border-left:2px solid var(--line);padding-left:12px;white-space:pre-wrap;overflow-wrap:anywhere}
.summary{display:grid;grid-template-columns:repeat(auto-fit,minmax(210px,1fr));gap:0;border:1px solid var(--ink);margin:18px 0}
.summary div{padding:10px 14px;border-right:1px solid var(--line)}
.summary b{display:block;font-size:18px;font-weight:600}
.doubt{border-left:3px dashed var(--accent);padding:2px 0 2px 12px;margin:10px 0}
.refused{border-left:3px solid var(--accent);padding:2px 0 2px 12px;margin:10px 0}
.mark{color:var(--accent);font-weight:600}
figure{margin:14px 0;break-inside:avoid}
figure svg{width:100%;height:auto;display:block}
.pair{display:grid;grid-template-columns:1fr 1fr;gap:18px}
@media(max-width:760px){.pair{grid-template-columns:1fr}}
.frame-line{fill:none;stroke:var(--ink);stroke-width:1}
.scale-bar{stroke:var(--ink);stroke-width:1.4;fill:none}
svg text{font-family:"Source Sans 3","Segoe UI",Helvetica,Arial,sans-serif;font-size:14px;fill:var(--ink)}
svg text.small{font-size:12px;fill:var(--soft)}
table.data td code{white-space:nowrap;overflow-wrap:normal}
svg text.name{font-weight:600}
svg text.halo{paint-order:stroke;stroke:var(--paper);stroke-width:4px;stroke-linejoin:round}
.tie{stroke:var(--ink);fill:none;stroke-linecap:butt}
.tie.hollow{stroke:var(--paper)}
.tie.doubtful{stroke:var(--accent)}
.tie.unused{stroke:var(--line);stroke-dasharray:1.5 4}
circle.number{fill:var(--paper);stroke:var(--ink);stroke-width:1}
circle.number.doubtful{stroke:var(--accent);stroke-width:1.8}
circle.number.unused{stroke:var(--line)}
svg text.number{font-size:12px;font-weight:600}
.station{fill:var(--paper);stroke:var(--ink);stroke-width:1.6}
.station.fixed{fill:var(--ink)}
.station.refused{stroke:var(--accent);stroke-dasharray:3 2}
.error-figure{fill:none;stroke:var(--accent);stroke-width:1.1}
.error-figure.far{stroke-dasharray:5 2.5}
.lever{stroke:var(--soft);stroke-width:.8;stroke-dasharray:1.5 3;fill:none}
.scale-bar.error{stroke:var(--accent)}
.sheet{display:grid;grid-template-columns:minmax(0,2fr) minmax(220px,1fr);gap:22px;align-items:start}
.sheet figure{margin-top:8px}
@media(max-width:760px){.sheet{grid-template-columns:1fr}}
aside .test{border-left:2px solid var(--ink);padding:0 0 0 12px;margin:8px 0 16px}
aside .test b{font-size:14px}
aside .test p{font:13px/1.45 "Source Sans 3","Segoe UI",Helvetica,Arial,sans-serif;margin:4px 0}
aside .test.not-checked{border-left:4px double var(--ink)}
aside .test.not-passed,aside .test.cannot-tell{border-left:3px dashed var(--accent)}
.sign{display:inline-block;width:1.1em}
.not-passed .sign,.cannot-tell .sign{color:var(--accent)}
ul.net-key{font-size:12px;gap:2px 18px;margin-top:10px}
svg.sample{display:inline-block!important;width:44px!important;height:16px!important;vertical-align:-3px;margin-right:6px}
svg.bars{display:inline-block;width:96px;height:9px}
.bar-now{stroke:var(--line);stroke-width:2.6}
.bar-then{stroke:var(--ink);stroke-width:2.6}
.verdict.stands-out,.verdict.cannot-tell{color:var(--accent);font-weight:600;border-bottom:1px dashed var(--accent)}
tr.noted td{border-bottom:0!important}
tr.note td{padding-top:0!important}
tr:target td{background:#f1ead9}
table.title-block{border-collapse:collapse;width:100%;border:1px solid var(--ink)}
table.title-block td{border:1px solid var(--line);padding:3px 8px;width:33.3%}
table.title-block b{font-weight:600;color:var(--ink);margin-right:4px}
ul.key{list-style:none;margin:6px 0;padding:0;display:flex;flex-wrap:wrap;gap:4px 18px;font:13px "Source Sans 3","Segoe UI",Helvetica,Arial,sans-serif}
.swatch{display:inline-block;width:26px;height:14px;border:1px solid var(--ink);margin-right:6px;vertical-align:-2px}
.swatch[data-pattern="lines falling"],.swatch[data-pattern="wide lines falling"]{background-image:repeating-linear-gradient(45deg,#0006 0 1px,transparent 1px 6px)}
.swatch[data-pattern="lines rising"],.swatch[data-pattern="wide lines rising"]{background-image:repeating-linear-gradient(-45deg,#0006 0 1px,transparent 1px 6px)}
.swatch[data-pattern="level lines"]{background-image:repeating-linear-gradient(0deg,#0006 0 1px,transparent 1px 5px)}
.swatch[data-pattern="upright lines"]{background-image:repeating-linear-gradient(90deg,#0006 0 1px,transparent 1px 5px)}
.swatch[data-pattern="lines steep"]{background-image:repeating-linear-gradient(27deg,#0006 0 1px,transparent 1px 6px)}
.swatch[data-pattern="lines flat"]{background-image:repeating-linear-gradient(-63deg,#0006 0 1px,transparent 1px 6px)}
.scale{max-width:520px;margin:6px 0}
.scale-colors{height:14px;border:1px solid var(--ink);display:flex}
.scale-colors span{flex:1}
.scale-colors span+span{border-left:1px solid #fff6}
.scale-ticks{position:relative;height:18px;font:12px "Source Sans 3","Segoe UI",Helvetica,Arial,sans-serif}
.scale-ticks span{position:absolute;transform:translateX(-50%)}
.scale-ticks span:first-child{transform:none}
.scale-ticks span:last-child{transform:translateX(-100%)}
@media print{.wide{overflow:visible}table.data{font-size:10px}table.data td,table.data th{padding:3px 4px}table.data .small,table.data code{font-size:9px}table.data th.n{white-space:normal}.sheet{grid-template-columns:minmax(0,2fr) minmax(0,1fr)}tr{break-inside:avoid}h3{break-after:avoid}main{padding:0;max-width:none}h2{break-after:avoid}@page{margin:14mm}.swatch,.scale-colors span{print-color-adjust:exact;-webkit-print-color-adjust:exact}}
`;
