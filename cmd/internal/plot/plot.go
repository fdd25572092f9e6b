// Package plot draws pictures of attenuation as SVG: over frequency, against a
// target, over the years, by source of spread, by product. It is given finished
// numbers in dB, Hz and years and computes nothing but where ink goes.
//
// A picture needs no script and no font of its own. Its text is text. It carries
// a title and a description for those who do not see it, tells nothing by colour
// alone, follows the reader's light or dark setting and prints dark on light.
package plot

import (
	"bytes"
	"html/template"
	"io"
)

// Width is the width of every picture in its own units, narrow enough to be read
// on a phone and two abreast on a sheet of paper. Letters are 13 units high.
const Width = 460

// A Picture is one drawing, ready to be put into a page or a file.
type Picture struct {
	Title string // what it is, in a few words
	Desc  string // what it shows, in sentences
	scene scene
}

// Inline returns the picture as an element for a page that has Style among its
// style sheets. Identifiers within it begin with id, which must be one of its own
// in the page: letters, digits and hyphens.
func (p *Picture) Inline(id string) (template.HTML, error) {
	var b bytes.Buffer
	err := drawing.ExecuteTemplate(&b, "inline", p.frame(id))
	return template.HTML(b.String()), err // made by html/template from plain strings
}

// headroom is the room above a picture that stands alone, for its title.
const headroom = 40

// WriteFile writes the picture as a file of its own, with its title in it.
func (p *Picture) WriteFile(w io.Writer) error {
	f := p.frame("p")
	f.Alone = true
	f.Heads = wrapText(p.Title, Width-2*margin, headSize)
	f.Top = headroom + 18*float64(len(f.Heads)-1)
	_, err := io.WriteString(w, `<?xml version="1.0" encoding="UTF-8"?>`+"\n")
	if err != nil {
		return err
	}
	return drawing.ExecuteTemplate(w, "file", f)
}

// frame is what the template of a picture reads.
type frame struct {
	ID, Title, Desc string
	Style           template.CSS
	Alone           bool
	Heads           []string // the title, by line
	Top             float64  // room above the scene
	Scene           scene
}

func (p *Picture) frame(id string) frame {
	return frame{ID: id, Title: p.Title, Desc: p.Desc, Style: fileStyle, Scene: p.scene}
}

func (f frame) ViewBox() string {
	return num(0) + " " + num(-f.Top) + " " + num(Width) + " " + num(f.Scene.height+f.Top)
}

// Files are shown half as large again as their units where nothing else says so.
func (f frame) WidthPX() string  { return num(Width * 1.5) }
func (f frame) HeightPX() string { return num((f.Scene.height + f.Top) * 1.5) }
func (f frame) SheetTop() string { return num(-f.Top) }
func (f frame) SheetPX() string  { return num(f.Scene.height + f.Top) }

// HeadLines are the lines of the title with their places.
func (f frame) HeadLines() []mark {
	var out []mark
	for i, line := range f.Heads {
		out = append(out, mark{X: num(margin), Y: num(-f.Top + 24 + 18*float64(i)), Text: line})
	}
	return out
}

var drawing = template.Must(template.New("plot").Parse(`
{{- define "words"}}<title id="{{.ID}}-t">{{.Title}}</title><desc id="{{.ID}}-d">{{.Desc}}</desc>{{end}}
{{- define "body" -}}
{{- range .Scene.Patterns}}<defs><pattern id="{{$.ID}}-{{.}}" width="6" height="6" patternUnits="userSpaceOnUse"
{{- if eq . "hatch"}} patternTransform="rotate(45)"><path class="p-hatch" d="M0 0V6"/>
{{- else if eq . "tint1"}}><rect class="p-tint1" width="6" height="6"/>
{{- else if eq . "tint2"}} patternTransform="rotate(45)"><rect class="p-tint2" width="6" height="6"/><path class="p-grain" d="M0 0V6"/>
{{- else if eq . "tint3"}}><rect class="p-tint3" width="6" height="6"/><path class="p-grain" d="M2 3h1.5"/>
{{- else if eq . "tint4"}}><rect class="p-tint4" width="6" height="6"/><path class="p-grain" d="M0 3H6"/>
{{- else if eq . "tint5"}} patternTransform="rotate(-45)"><rect class="p-tint5" width="6" height="6"/><path class="p-grain" d="M0 0V6"/>
{{- else}}><rect class="p-tint6" width="6" height="6"/><path class="p-grain" d="M0 0H6M0 0V6"/>
{{- end}}</pattern></defs>{{end}}
{{- range .Scene.Marks}}
{{if .Path}}<path class="{{.Class}}" d="{{.Path}}"{{if .Pattern}} fill="url(#{{$.ID}}-{{.Pattern}})"{{end}}/>
{{- else}}<text{{if .Class}} class="{{.Class}}"{{end}} x="{{.X}}" y="{{.Y}}"{{if .Anchor}} text-anchor="{{.Anchor}}"{{end}}>{{.Text}}</text>{{end}}
{{- end}}
{{end}}
{{- define "inline"}}<svg class="pic" viewBox="{{.ViewBox}}" role="img" aria-labelledby="{{.ID}}-t {{.ID}}-d">{{template "words" .}}{{template "body" .}}</svg>{{end}}
{{- define "file"}}<svg xmlns="http://www.w3.org/2000/svg" class="pic pic-alone" width="{{.WidthPX}}" height="{{.HeightPX}}" viewBox="{{.ViewBox}}" role="img" aria-labelledby="{{.ID}}-t {{.ID}}-d">{{template "words" .}}
<style>{{.Style}}</style>
<rect class="p-sheet" y="{{.SheetTop}}" width="460" height="{{.SheetPX}}"/>
{{range .HeadLines}}<text class="p-head" x="{{.X}}" y="{{.Y}}">{{.Text}}</text>
{{end}}{{template "body" .}}</svg>
{{end}}`))
