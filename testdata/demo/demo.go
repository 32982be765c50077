// Package demo has the register of the works fire brigade of Harrow Point, an
// invented chemical harbour: its suits and manometers, and five years of tests
// on paper up to the end of February 2026. Everything in it is invented: the
// suits, their makers' figures, the people and every reading. None of it says
// anything about a suit that can be bought.
package demo

import (
	"embed"
	"io/fs"
)

//go:embed suits.csv manometers.csv tests.csv
var files embed.FS

// Files returns the register: suits.csv, manometers.csv and tests.csv.
func Files() fs.FS { return files }
