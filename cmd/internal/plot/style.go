package plot

import (
	"html/template"
	"strings"
)

// A palette gives each colour its value. Letters and what matters keep a contrast of
// 4.5 to 1 on paper, dark or light. Blue and vermilion are told apart by those who
// do not tell red from green; dashes and shapes serve those who see no hue at all.
type palette []struct{ name, value string }

var (
	light = palette{{"paper", "#fff"}, {"ink", "#17212b"}, {"quiet", "#4d5b69"}, {"rule", "#d3dae1"},
		{"found", "#0a5688"}, {"soft", "#0a56886b"}, {"haze", "#0a56881f"}, {"want", "#a03500"}, {"beyond", "#98a3ae"},
		{"tint1", "#cde2f1"}, {"tint2", "#f7dcc3"}, {"tint3", "#e2dcf2"}, {"tint4", "#d6ead8"}, {"tint5", "#f5e7b0"}, {"tint6", "#e3e6e9"}, {"grain", "#17212b2e"}}
	dark = palette{{"paper", "#11171e"}, {"ink", "#e9eef3"}, {"quiet", "#a3b2c1"}, {"rule", "#313c47"},
		{"found", "#74bdec"}, {"soft", "#74bdec75"}, {"haze", "#74bdec26"}, {"want", "#f5a071"}, {"beyond", "#5f6d7a"},
		{"tint1", "#17415e"}, {"tint2", "#5d3a1f"}, {"tint3", "#413869"}, {"tint4", "#1f4a2c"}, {"tint5", "#54470f"}, {"tint6", "#3a434c"}, {"grain", "#e9eef336"}}
)

// Style is the style sheet of the pictures in a page, which includes it once and may
// use its colours: custom properties on the root, such as --ink, --paper, --found for
// what was found and --want for what is wanted.
var Style = template.CSS(":root{color-scheme:light dark;" + light.properties() + "}\n@media screen and (prefers-color-scheme:dark){:root{" + dark.properties() + "}}\n.pic{display:block;width:100%;height:auto}\n" + shapes + colours)

// fileStyle is that of a picture in a file of its own. It names the colours
// themselves, for the programs that take pictures in but know no custom properties.
var fileStyle = template.CSS(shapes + light.put(colours) + "@media screen and (prefers-color-scheme:dark){\n" + dark.put(colours) + "}\n")

func (p palette) properties() string {
	var b strings.Builder
	for _, c := range p {
		b.WriteString("--" + c.name + ":" + c.value + ";")
	}
	return strings.TrimSuffix(b.String(), ";")
}

// put writes the colours of the palette into a style sheet.
func (p palette) put(style string) string {
	var pairs []string
	for _, c := range p {
		pairs = append(pairs, "var(--"+c.name+")", c.value)
	}
	return strings.NewReplacer(pairs...).Replace(style)
}

// What the marks look like, without and with colour.
const (
	shapes = `.pic{fill:none;stroke-linecap:round;stroke-linejoin:round;font:13px/1.2 system-ui,-apple-system,"Segoe UI",Roboto,"Helvetica Neue","Noto Sans",Arial,sans-serif;font-variant-numeric:tabular-nums}
.p-head{font-size:16px;font-weight:650}
.p-strong{font-weight:650}
.p-halo{paint-order:stroke;stroke-width:4px}
.p-grid,.p-axis,.p-cut,.p-tip,.p-solid,.p-alert{stroke-width:1}
.p-edge{stroke-width:1;stroke-dasharray:1 4}
.p-thin{stroke-width:.9}
.p-mean{stroke-width:2.4}
.p-mean2{stroke-width:2.4;stroke-dasharray:7 4}
.p-mean3{stroke-width:2.4;stroke-dasharray:2 4}
.p-lower{stroke-width:1.4;stroke-dasharray:5 3}
.p-link,.p-grain{stroke-width:1.2}
.p-target{stroke-width:1.8;stroke-dasharray:9 4}
.p-hollow{stroke-width:1.8}
.p-point,.p-whisker,.p-block{stroke-width:1.5}
.p-hatch{stroke-width:1.3}
`
	colours = `.pic text{fill:var(--ink)}
.pic .p-sheet{fill:var(--paper)}
.pic .p-quiet{fill:var(--quiet)}
.pic .p-halo,.pic .p-block{stroke:var(--paper)}
.pic .p-grid{stroke:var(--rule)}
.pic .p-axis,.pic .p-edge,.pic .p-link,.pic .p-cut,.pic .p-tip{stroke:var(--quiet)}
.pic .p-thin{stroke:var(--soft)}
.pic .p-area{fill:var(--haze)}
.pic .p-mean,.pic .p-mean2,.pic .p-mean3,.pic .p-lower{stroke:var(--found)}
.pic .p-target{stroke:var(--want)}
.pic .p-solid{fill:var(--found);stroke:var(--paper)}
.pic .p-hollow{fill:var(--paper);stroke:var(--found)}
.pic .p-point{fill:var(--paper);stroke:var(--ink)}
.pic .p-whisker{stroke:var(--ink)}
.pic .p-hatch{stroke:var(--beyond)}
.pic .p-grain{stroke:var(--grain)}
.pic .p-tint1{fill:var(--tint1)}.pic .p-tint2{fill:var(--tint2)}.pic .p-tint3{fill:var(--tint3)}.pic .p-tint4{fill:var(--tint4)}.pic .p-tint5{fill:var(--tint5)}.pic .p-tint6{fill:var(--tint6)}
`
)
