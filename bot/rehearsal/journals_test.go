package rehearsal

import (
	"bytes"
	"encoding/csv"
	"log/slog"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"benchbell/bot/config"
	"benchbell/bot/engine"
	"benchbell/bot/register"
	"benchbell/store"
)

// playedStore plays a script and returns what is in the store then.
func playedStore(t *testing.T, path string) (*store.Store, config.Config) {
	t.Helper()
	script, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	cfg := scriptConfig(t, path)
	_, file, err := play(t, string(script), cfg)
	if err != nil {
		t.Error(err)
	}
	st, err := store.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	return st, cfg
}

// tableOf writes a journal as a table: it has as many rows, in words throughout.
func tableOf(t *testing.T, st *store.Store, cfg config.Config) {
	t.Helper()
	var out bytes.Buffer
	if err := register.WriteJournal(&out, st.Entries(0), cfg.Policy.Zone, register.Dialect{}); err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(out.String(), "\ufeff")))
	r.FieldsPerRecord = 0 // as many as the header has
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	n, _, err := st.Head()
	if err != nil || uint64(len(rows)) != n+1 || n == 0 {
		t.Errorf("%d rows of %d entries, %v", len(rows), n, err)
	}
	for i, row := range rows[1:] {
		if row[0] != strconv.Itoa(i+1) {
			t.Fatalf("row %d is that of entry %s", i+1, row[0])
		}
		for _, cell := range row {
			if strings.Contains(cell, "core.") || strings.Contains(cell, "%!") || strings.IndexAny(cell, "=+@") == 0 {
				t.Errorf("entry %s has the cell %q", row[0], cell)
			}
		}
	}
}

// linesOf writes a journal in JSON Lines: it becomes the same journal in another
// store, of which an engine makes the same rows.
func linesOf(t *testing.T, st *store.Store, cfg config.Config) {
	t.Helper()
	var lines bytes.Buffer
	if err := st.WriteJSONL(&lines); err != nil {
		t.Fatal(err)
	}
	other, err := store.OpenThrowaway(filepath.Join(t.TempDir(), "other.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	n, h, err := other.ReadJSONL(bytes.NewReader(lines.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	var again bytes.Buffer
	if err := other.WriteJSONL(&again); err != nil || !bytes.Equal(again.Bytes(), lines.Bytes()) {
		t.Errorf("written again, the lines are others, %v", err)
	}
	if verified, last, err := other.Verify(); verified != h || last != n || err != nil {
		t.Errorf("restored, the journal has %d entries and the head %v, %v", last, verified, err)
	}
	if _, last, err := st.VerifyAgainst(n, h); last != n || err != nil {
		t.Errorf("%d entries were read of %d, %v", n, last, err)
	}
	if _, err := engine.New(other, cfg, stageBot, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	if got, want := rowsOf(t, other), rowsOf(t, st); !reflect.DeepEqual(got, want) {
		t.Errorf("rows:\n got %+v\nwant %+v", got, want)
	}
	if err := other.Check(); err != nil {
		t.Error(err)
	}
}

func rowsOf(t *testing.T, st *store.Store) []store.SuitRow {
	t.Helper()
	var rows []store.SuitRow
	for row, err := range st.Rows() {
		if err != nil {
			t.Fatal(err)
		}
		rows = append(rows, row)
	}
	return rows
}
