package rehearsal

import (
	"os"
	"path/filepath"
	"strings"
	"time"

	"benchbell/bot/config"
	"benchbell/core"
)

// Demo is the configuration of the invented station Harrow Point.
func Demo() config.Config {
	cfg := config.Default()
	cfg.Name, cfg.Address = "Harrow Point (invented)", "Gate 3, Quay Road, Harrow Point"
	cfg.Officers = []string{"duty.officer"}
	if zone, err := time.LoadLocation("Europe/London"); err == nil {
		cfg.SetZone(zone)
	}
	return cfg
}

// ConfigOf returns the configuration that a script is played with: the one
// beside it, with the same name and the ending .toml, else that of [Demo].
func ConfigOf(script string) (config.Config, error) {
	path := strings.TrimSuffix(script, filepath.Ext(script)) + ".toml"
	if _, err := os.Stat(path); err != nil {
		return Demo(), nil
	}
	return config.Load(path)
}

// Start is where a rehearsal's clock stands at first.
func Start(cfg config.Config) time.Time {
	return core.Date{Year: 2026, Month: time.March, Day: 2}.Start(cfg.Policy.Zone).Add(8 * time.Hour)
}
