package ingest

import (
	"bytes"
	"context"
	"fmt"

	"sealbound/ingest/packed"
	"sealbound/ingest/sidetable"
)

// carried is the side tables that a packed file holds.
type carried struct {
	path   string
	tables []packed.Side
}

// takeCarried adds the side tables of a packed file to those of the folders. A row
// that is there already is the same row: several packed files of one campaign carry
// the same boxes.
func (r *reader) takeCarried(ctx context.Context, c carried, side *sidetable.Tables) error {
	var own sidetable.Tables
	for _, t := range c.tables {
		name := sidetable.Named(t.Name + ".csv")
		if name == "" {
			r.notes.add(noteCarried, t.Name, c.path)
			continue
		}
		where := fmt.Sprintf("%s (%s)", c.path, name)
		if _, _, err := own.Read(ctx, name, where, bytes.NewReader([]byte(t.CSV)), int64(len(t.CSV)), &r.problems); err != nil {
			return err
		}
	}
	side.Merge(&own, c.path, &r.problems)
	return nil
}

// sideTables are those of a reading, as CSV.
func (s *Summary) sideTables() []packed.Side {
	t := sidetable.Tables{Boxes: s.Boxes, Gaskets: s.Gaskets, Events: s.Events, Setup: s.Setup}
	var side []packed.Side
	for _, name := range []string{"boxes", "gaskets", "events", "setup"} {
		if text := t.CSV(name); text != "" {
			side = append(side, packed.Side{Name: name, CSV: text})
		}
	}
	return side
}
