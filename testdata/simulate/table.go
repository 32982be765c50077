package main

import "strings"

// table is a Markdown table: first a few columns of words, then of numbers.
type table struct {
	words  int
	header []string
	rows   [][]string
}

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

// String lays the table out so that it reads well as plain text too.
func (t *table) String() string {
	widths := make([]int, len(t.header))
	for _, row := range append([][]string{t.header}, t.rows...) {
		for i, cell := range row {
			widths[i] = max(widths[i], len([]rune(cell)))
		}
	}
	var out strings.Builder
	line := func(row []string) {
		for i, cell := range row {
			pad := strings.Repeat(" ", widths[i]-len([]rune(cell)))
			if i < t.words {
				out.WriteString("| " + cell + pad + " ")
			} else {
				out.WriteString("| " + pad + cell + " ")
			}
		}
		out.WriteString("|\n")
	}
	line(t.header)
	for i, width := range widths {
		rule := strings.Repeat("-", width)
		if i >= t.words {
			rule = rule[:width-1] + ":"
		}
		out.WriteString("| " + rule + " ")
	}
	out.WriteString("|\n")
	for _, row := range t.rows {
		line(row)
	}
	return out.String()
}
