package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf16"

	"sealbound/cmd/internal/texttab"
)

// JSON writes doc as one object with stable names: numbers unrounded in shortest
// exact digits, what is undefined null, an object without any defined part null.
// Each input and each result stands on a line of its own. Characters that could
// steer a display are escaped, others stand as they are. Nothing is written if
// any number is not finite.
func JSON(w io.Writer, doc *Document) error {
	t, err := results(doc)
	if err != nil {
		return err
	}
	if err := finite(doc, t); err != nil {
		return err
	}
	var e encoder
	e.raw(`{"tool":"sealbound",` + "\n")
	e.key("version").str(doc.Version).raw(",\n")
	e.key("command").str(doc.Command).raw(",\n")
	e.key("settings").raw("{")
	for i, s := range doc.Settings {
		e.comma(i)
		e.key(s.Name).value(s.Value)
	}
	e.raw("},\n")
	e.key("inputs")
	e.list(len(doc.Inputs), func(i int) {
		in := doc.Inputs[i]
		e.raw("{").key("path").str(in.Path)
		e.raw(fmt.Sprintf(`,"rows":%d,"used":%d,"skipped":%d,"blank":%d}`, in.Rows, in.Used, in.Skipped, in.Blank))
	})
	e.raw(",\n").key("results")
	e.list(len(t.rows), func(i int) { e.object(t.names, t.rows[i]) })
	e.raw(",\n").key("notes")
	e.list(len(doc.Notes), func(i int) { e.str(doc.Notes[i]) })
	e.raw(",\n").key("headlines")
	e.list(len(doc.Headlines), func(i int) { e.str(doc.Headlines[i]) })
	if len(doc.Explain) > 0 {
		e.raw(",\n").key("explain")
		e.list(len(doc.Explain), func(i int) {
			e.raw("{").key("title").str(doc.Explain[i].Title).raw(",").key("lines").value(list(doc.Explain[i].Lines))
			e.raw("}")
		})
	}
	e.raw("}\n")
	_, err = w.Write(e.b)
	return err
}

// encoder appends JSON; every value given to it has passed finite.
type encoder struct{ b []byte }

func (e *encoder) raw(s string) *encoder { e.b = append(e.b, s...); return e }

func (e *encoder) key(name string) *encoder { return e.str(name).raw(":") }

func (e *encoder) comma(i int) {
	if i > 0 {
		e.raw(",")
	}
}

// list puts every element on a line of its own.
func (e *encoder) list(n int, element func(i int)) {
	e.raw("[")
	for i := range n {
		e.comma(i)
		e.raw("\n")
		element(i)
	}
	e.raw("]")
}

// object nests columns whose names share what stands before the dot.
func (e *encoder) object(names []string, cells []any) {
	e.raw("{")
	for i := 0; i < len(names); {
		e.comma(i)
		head, _, nested := strings.Cut(names[i], ".")
		end := i + 1
		if !nested {
			e.key(names[i]).value(cells[i])
			i = end
			continue
		}
		for end < len(names) && strings.HasPrefix(names[end], head+".") {
			end++
		}
		e.key(head)
		if allNil(cells[i:end]) {
			e.raw("null")
		} else {
			inner := make([]string, end-i)
			for k := range inner {
				inner[k] = names[i+k][len(head)+1:]
			}
			e.object(inner, cells[i:end])
		}
		i = end
	}
	e.raw("}")
}

func allNil(cells []any) bool {
	for _, v := range cells {
		if v != nil {
			return false
		}
	}
	return true
}

func (e *encoder) value(v any) *encoder {
	switch v := v.(type) {
	case string:
		return e.str(v)
	case []string:
		e.raw("[")
		for i, s := range v {
			e.comma(i)
			e.str(s)
		}
		return e.raw("]")
	case []Label:
		e.raw("{")
		for i, l := range v {
			e.comma(i)
			e.key(l.Field).str(l.Value)
		}
		return e.raw("}")
	case []Problem:
		e.list(len(v), func(i int) { e.problem(v[i]) })
		return e
	case table:
		e.list(len(v.rows), func(i int) { e.object(v.names, v.rows[i]) })
		return e
	case nil:
		return e.raw("null")
	}
	return e.raw(cellText(v)) // bool and numbers
}

func (e *encoder) problem(p Problem) {
	place := func(n int) any {
		if n == 0 {
			return nil
		}
		return n
	}
	text := any(p.Text)
	if p.Field == "" {
		text = word(p.Text) // an empty cell is a text, no cell is none
	}
	e.object([]string{"file", "line", "column", "field", "text", "what", "mend"},
		[]any{p.File, place(p.Line), place(p.Column), word(p.Field), text, p.What, word(p.Mend)})
}

// str appends a string. Characters that could steer a display are escaped even
// where JSON would allow them.
func (e *encoder) str(s string) *encoder {
	var quoted bytes.Buffer
	enc := json.NewEncoder(&quoted)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(s) // a string into memory: cannot fail
	for _, r := range strings.TrimSuffix(quoted.String(), "\n") {
		switch {
		case !texttab.Unsafe(r):
			e.b = append(e.b, string(r)...)
		case r < 0x10000:
			e.raw(fmt.Sprintf(`\u%04x`, r))
		default:
			hi, lo := utf16.EncodeRune(r)
			e.raw(fmt.Sprintf(`\u%04x\u%04x`, hi, lo))
		}
	}
	return e
}

// shortest is x in the fewest digits that read back as x, never with a negative
// zero. Like JSON's usual encoders it uses an exponent only below 1e-6 and from
// 1e21.
func shortest(x float64) string {
	if x == 0 {
		return "0"
	}
	if a := max(x, -x); a < 1e-6 || a >= 1e21 {
		return strconv.FormatFloat(x, 'e', -1, 64)
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}
