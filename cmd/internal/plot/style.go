package plot

import "html/template"

// Style is the style sheet of the pictures. A page includes it once, and may use
// its colours, which are custom properties on the root: ink and paper, a blue for
// what was found, a vermilion for what is wanted. They keep a contrast of 4.5 to
// 1 on paper, dark or light, and differ in lightness for those who do not tell
// hues apart.
const Style template.CSS = `:root{color-scheme:light dark;--paper:#fff;--ink:#17212b;--quiet:#4d5b69;--rule:#d3dae1;--found:#0a5688;--soft:#0a568852;--haze:#0a56881f;--want:#a03500;--beyond:#98a3ae;--tint1:#cde2f1;--tint2:#f7dcc3;--tint3:#e2dcf2;--tint4:#d6ead8;--tint5:#f5e7b0;--tint6:#e3e6e9;--grain:#17212b2e}
@media screen and (prefers-color-scheme:dark){:root{--paper:#11171e;--ink:#e9eef3;--quiet:#a3b2c1;--rule:#313c47;--found:#74bdec;--soft:#74bdec5c;--haze:#74bdec26;--want:#f5a071;--beyond:#5f6d7a;--tint1:#17415e;--tint2:#5d3a1f;--tint3:#413869;--tint4:#1f4a2c;--tint5:#54470f;--tint6:#3a434c;--grain:#e9eef336}}
.pic{display:block;width:100%;height:auto;font:13px/1.2 system-ui,-apple-system,"Segoe UI",Roboto,"Helvetica Neue","Noto Sans",Arial,sans-serif;font-variant-numeric:tabular-nums}
.pic text{fill:var(--ink)}
.pic path{fill:none;stroke-linecap:round;stroke-linejoin:round}
.pic .p-sheet{fill:var(--paper)}
.pic .p-head{font-size:16px;font-weight:650}
.pic .p-quiet{fill:var(--quiet)}
.pic .p-strong{font-weight:650}
.pic .p-want{fill:var(--want)}
.pic .p-halo{paint-order:stroke;stroke:var(--paper);stroke-width:4px;stroke-linejoin:round}
.pic .p-grid{stroke:var(--rule);stroke-width:1}
.pic .p-axis{stroke:var(--quiet);stroke-width:1}
.pic .p-edge{stroke:var(--quiet);stroke-width:1;stroke-dasharray:1 4}
.pic .p-thin{stroke:var(--soft);stroke-width:.8}
.pic .p-spot{stroke:var(--soft);stroke-width:3}
.pic .p-area{fill:var(--haze);stroke:none}
.pic .p-mean{stroke:var(--found);stroke-width:2.4}
.pic .p-mean2{stroke:var(--found);stroke-width:2.4;stroke-dasharray:7 4}
.pic .p-mean3{stroke:var(--found);stroke-width:2.4;stroke-dasharray:2 4}
.pic .p-lower{stroke:var(--found);stroke-width:1.4;stroke-dasharray:5 3}
.pic .p-link{stroke:var(--quiet);stroke-width:1.2}
.pic .p-target{stroke:var(--want);stroke-width:1.8;stroke-dasharray:9 4}
.pic .p-solid{fill:var(--found);stroke:var(--paper);stroke-width:1}
.pic .p-hollow{fill:var(--paper);stroke:var(--found);stroke-width:1.8}
.pic .p-point{fill:var(--paper);stroke:var(--ink);stroke-width:1.5}
.pic .p-whisker{stroke:var(--ink);stroke-width:1.5}
.pic .p-alert{fill:var(--want);stroke:var(--paper);stroke-width:1}
.pic .p-hatch{stroke:var(--beyond);stroke-width:1.3}
.pic .p-cut{stroke:var(--quiet);stroke-width:1}
.pic .p-block{stroke:var(--paper);stroke-width:1.5}
.pic .p-grain{stroke:var(--grain);stroke-width:1.2}
.pic .p-tint1{fill:var(--tint1)}.pic .p-tint2{fill:var(--tint2)}.pic .p-tint3{fill:var(--tint3)}.pic .p-tint4{fill:var(--tint4)}.pic .p-tint5{fill:var(--tint5)}.pic .p-tint6{fill:var(--tint6)}
`
