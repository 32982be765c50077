package rehearsal

import (
	"errors"
	"fmt"
	"time"

	"benchbell/bot/config"
	"benchbell/bot/register"
	"benchbell/core"
	"benchbell/testdata/demo"
)

// Fleet reads the register of a rehearsal: that of the files, or
// of the invented station Harrow Point if none are named.
func Fleet(cfg config.Config, paths []string, at time.Time) ([]core.Entry, error) {
	known := register.Known{Today: core.DateAt(at, cfg.Policy.Zone), Dates: cfg.Dates, Methods: cfg.AllMethods()}
	reg, err := register.ReadFS(demo.Files(), known)
	if len(paths) > 0 {
		reg, err = register.ReadFiles(paths, known)
		if err == nil && len(reg.Manometers) == 0 {
			err = errors.New("the fleet has no manometer: add a file with the columns id, unit, resolution")
		}
	}
	if err != nil {
		return nil, fmt.Errorf("the fleet: %w", err)
	}
	keeper := core.Person{Name: "keeper"}
	entries := reg.Entries(at, keeper, "register", cfg.Policy.Zone)
	if len(paths) == 0 { // what no column of a register says
		for _, e := range []core.Entry{
			{Suit: "HP-20", Fact: core.Used{When: at, Note: "drill on the jetty, invented"}},
			{Suit: "HP-21", Fact: core.Retired{Why: "melted boot, invented"}},
			{Suit: "HP-22", Fact: core.Withdrawn{Why: "lent to the school, invented"}},
		} {
			e.At, e.By, e.Event = at, keeper, "register"
			entries = append(entries, e)
		}
	}
	return entries, nil
}
