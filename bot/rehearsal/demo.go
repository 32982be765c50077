package rehearsal

import (
	"time"

	"benchbell/bot/config"
	"benchbell/core"
)

// DemoConfig is the configuration of the invented station Harrow Point.
func Demo() config.Config {
	cfg := config.Default()
	cfg.Name, cfg.Address = "Harrow Point (invented)", "Gate 3, Quay Road, Harrow Point"
	cfg.Officers = []string{"duty.officer"}
	if zone, err := time.LoadLocation("Europe/London"); err == nil {
		cfg.SetZone(zone)
	}
	return cfg
}

// RehearsalStart is where a rehearsal's clock stands at first.
func Start(cfg config.Config) time.Time {
	return core.Date{Year: 2026, Month: time.March, Day: 2}.Start(cfg.Policy.Zone).Add(8 * time.Hour)
}
