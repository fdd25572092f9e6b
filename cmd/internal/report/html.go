package report

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"strings"
	"unicode/utf8"

	"sealbound/cmd/internal/plot"
	"sealbound/cmd/internal/texttab"
)

//go:embed html
var htmlFiles embed.FS

var htmlTemplates = template.Must(template.New("").ParseFS(htmlFiles, "html/*.html"))

var pageStyle = func() template.CSS {
	b, err := htmlFiles.ReadFile("html/page.css")
	if err != nil {
		panic(err) // it is embedded
	}
	return plot.Style + template.CSS(b)
}()

// PageLimit is the most that a page may take, in bytes.
const PageLimit = 1_500_000

// limits keep a page within PageLimit; what they leave out is said on the page.
type limits struct {
	rows       int // of one table
	files      int // listed one by one
	curves     int // groups drawn over frequency
	curveBytes int // for the closings of all curves together
	bars       int // rows of one kind of picture
}

// tighter and tighter.
var pageLimits = []limits{
	{rows: 1000, files: 1000, curves: 24, curveBytes: 500_000, bars: 160},
	{rows: 240, files: 240, curves: 24, curveBytes: 300_000, bars: 120},
	{rows: 80, files: 60, curves: 16, curveBytes: 120_000, bars: 60},
	{rows: 24, files: 20, curves: 8, curveBytes: 60_000, bars: 30},
}

// HTML writes the campaign as one page that stands alone: no script, nothing to
// load, at most PageLimit bytes. What comes from the data is text wherever it
// stands. Nothing is written if any number is not finite.
func HTML(w io.Writer, c *Campaign) error {
	for _, doc := range []*Document{c.Judge, c.ByBox, c.Spread.Doc, c.Wear.Doc, c.Compare.Doc} {
		if doc == nil {
			continue
		}
		t, err := results(doc)
		if err != nil {
			return err
		}
		if err := finite(doc, t); err != nil {
			return err
		}
	}
	if err := c.finiteCurves(); err != nil {
		return err
	}
	for _, l := range pageLimits {
		view, err := c.view(l)
		if err != nil {
			return err
		}
		page, err := rendered("campaign.html", view)
		if err != nil {
			return err
		}
		if len(page) <= PageLimit {
			_, err = w.Write(page)
			return err
		}
	}
	return errors.New("the page would take more than 1.5 MB, even with most of it left out: choose fewer groups with --box, --gasket or --by, or shorten long names in the data")
}

// SheetHTML writes the sheet of one box.
func SheetHTML(w io.Writer, s *Sheet) error {
	if err := s.finite(); err != nil {
		return err
	}
	page, err := rendered("sheet.html", s.view())
	if err != nil {
		return err
	}
	if len(page) > PageLimit {
		return errors.New("the sheet would take more than 1.5 MB: the texts in the data are too long")
	}
	_, err = w.Write(page)
	return err
}

// rendered executes a template and makes visible what could steer a display.
func rendered(name string, view any) ([]byte, error) {
	var b bytes.Buffer
	if err := htmlTemplates.ExecuteTemplate(&b, name, view); err != nil {
		return nil, fmt.Errorf("report: %w", err)
	}
	return visible(b.Bytes()), nil
}

// visible replaces runes that a display may not be given, or that XML forbids, by
// escapes that can be read. Line ends stay, for the page has its own.
func visible(page []byte) []byte {
	out := make([]byte, 0, len(page))
	for len(page) > 0 {
		r, n := utf8.DecodeRune(page)
		switch {
		case r == '\n':
			out = append(out, '\n')
		case r == utf8.RuneError && n == 1, texttab.Unsafe(r):
			out = append(out, texttab.Clean(string(page[:n]))...)
		case r == 0xfffe || r == 0xffff:
			out = append(out, fmt.Sprintf(`\u%04x`, r)...)
		default:
			out = append(out, page[:n]...)
		}
		page = page[n:]
	}
	return out
}

// A Figure is a picture as a file of its own.
type Figure struct {
	Name    string // without a folder
	picture *plot.Picture
}

// WriteTo writes the picture as SVG.
func (f Figure) WriteTo(w io.Writer) (int64, error) {
	var b bytes.Buffer
	if err := f.picture.WriteFile(&b); err != nil {
		return 0, err
	}
	n, err := w.Write(visible(b.Bytes()))
	return int64(n), err
}

// Figures are the pictures of the page, each for a file of its own. Names are made
// of the letters a to z, digits and hyphens.
func Figures(c *Campaign) ([]Figure, error) {
	if err := c.finiteCurves(); err != nil {
		return nil, err
	}
	var out []Figure
	for _, p := range c.pictures(pageLimits[0]).all() {
		out = append(out, Figure{p.Name + ".svg", p.picture})
	}
	return out, nil
}

// slug is a label in letters that any file system and any page takes.
func slug(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() >= 48 {
			break
		}
	}
	return strings.Trim(b.String(), "-")
}
