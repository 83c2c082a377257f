"""Style sheet of the report page, for the screen and for paper."""

STYLE = """
:root{color-scheme:light}
*{box-sizing:border-box}
body{margin:0 auto;padding:1rem 1.5rem 3rem;max-width:1280px;color:#1a1a1a;background:#fff;
font:15px/1.45 system-ui,"DejaVu Sans",Arial,sans-serif}
h1{font-size:1.6rem;line-height:1.2;margin:.2rem 0 .4rem;overflow-wrap:anywhere}
h2{font-size:1.2rem;margin:1.6rem 0 .5rem;border-bottom:2px solid #0072b2;padding-bottom:.15rem;
overflow-wrap:anywhere}
h3{font-size:1rem;margin:1.1rem 0 .3rem;overflow-wrap:anywhere}
p{margin:.4rem 0;max-width:75em;overflow-wrap:anywhere}
summary{margin:.5rem 0 .2rem;cursor:pointer}
ul{margin:.3rem 0;padding-left:1.2rem}
li{margin:.15rem 0;overflow-wrap:anywhere}
.label{background:#fff3cd;border-left:5px solid #d55e00;padding:.45rem .8rem;margin:.3rem 0;
max-width:none;font-weight:600}
.top{display:grid;grid-template-columns:1.15fr 1fr;gap:1.6rem}
.top>div{min-width:0}
.top h2{margin-top:.8rem}
.cannot{align-self:start;background:#f4f6f8;padding:0 1rem .6rem;font-size:.93em}
.small{font-size:.85em;color:#333}
.none{color:#666}
.good{color:#005f45}
.bad{color:#a63c00;font-weight:600}
.warn{color:#a63c00}
.wide{overflow-x:auto}
table{border-collapse:collapse;margin:.5rem 0;font-variant-numeric:tabular-nums}
th,td{padding:.22rem .5rem;text-align:right;vertical-align:top;border-bottom:1px solid #ddd}
th{vertical-align:bottom;font-weight:600;background:#f4f6f8}
.t{text-align:left}
td.t{overflow-wrap:anywhere}
td.t:first-child{min-width:6em}
.main{font-size:.81rem;width:100%}
.main th.t[scope]{min-width:8em;
vertical-align:top;background:none;max-width:16em;overflow-wrap:anywhere}
.main .remark{font-weight:400;font-size:.92em;color:#444}
.main tbody{border-top:2px solid #777}
.main .trust{background:#f4f6f8;color:#333}
.main .band{font-size:.8rem;text-transform:uppercase;letter-spacing:.05em;border-bottom:none}
.main td{white-space:nowrap}
.main td.words{white-space:normal;min-width:6.5em}
.main td,.main th{padding:.22rem .3rem}
.plain{font-size:.92em}
table.small{font-size:.82rem}
.bearing{font-size:.82rem}
.bearing th,.bearing td{overflow-wrap:anywhere;min-width:5.5em}
.glossary{font-size:.88rem}
.glossary th[scope=row]{vertical-align:top;min-width:8em}
.glossary td{min-width:14em}
table.small td:nth-child(2){white-space:nowrap}
table.staged td:nth-child(2){white-space:normal;min-width:11em}
footer{margin-top:2rem}
.main th:nth-child(3),.main td:has(>.good),.main td:has(>.bad),.main td:has(>.open){text-align:left}
figure{margin:1rem 0}
img{max-width:100%;height:auto;border:1px solid #ddd}
figcaption{overflow-wrap:anywhere;font-size:.85em;color:#333}
pre{background:#f4f6f8;padding:.6rem .8rem;overflow-x:auto;font-size:.82rem}
@media (max-width:800px){.top{grid-template-columns:1fr}.cannot{order:-1}}
@media print{
@page{size:A4 landscape;margin:12mm}
body{padding:0;max-width:none;font-size:10.5pt}
.wide,pre{overflow:visible}
pre{white-space:pre-wrap}
.main{font-size:8pt}
.main th,.main td{padding:.12rem .2rem}
.construct{break-before:page}
figure,tr,.cannot,h2,h3{break-inside:avoid}
h2,h3{break-after:avoid}
figure img{max-height:165mm;width:auto}
thead{display:table-header-group}
details::details-content{content-visibility:visible;height:auto}
}
"""
