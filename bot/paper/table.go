package paper

import (
	"math"
)

// column is a column of a table. Its width is in millimetres; zero takes the
// room that the others leave, shared evenly.
type column struct {
	head  string
	width float64
	face  face // body if zero
	ink   ink  // black if zero
	right bool // set against the right edge
}

// row is a row of a table.
type row struct {
	cells  []string
	face   face // instead of that of the column, if not zero
	shaded bool
}

func rowOf(cells ...string) row { return row{cells: cells} }

// table is rows under a heading. Without a head in any column it has no line
// of heads, and without lines is less ruled.
type table struct {
	title   string
	columns []column
	rows    []row
	ruled   bool    // a line under each row
	gap     float64 // between rows; rowGap if zero
	tail    float64 // room for what must stand on one page with the last row
}

// facts is a table of names and values. Where the value is empty, the row is
// left out.
func facts(title string, nameWidth float64, pairs ...[2]string) table {
	t := table{title: title, gap: closeGap, columns: []column{{width: nameWidth, ink: grey}, {}}}
	for _, p := range pairs {
		if p[1] != "" {
			t.rows = append(t.rows, rowOf(p[0], p[1]))
		}
	}
	return t
}

// list is a table of one column, without names.
func list(title string, items ...string) table {
	t := table{title: title, gap: closeGap, columns: []column{{}}}
	for _, item := range items {
		t.rows = append(t.rows, rowOf(item))
	}
	return t
}

const (
	cellGap  = 2.0 // between columns
	rowGap   = 0.9 // between rows
	closeGap = 0.6 // between rows that are not ruled
	inset    = 1.0 // of the cells of a ruled table from its edges
	blockGap = 2.6 // before a heading
)

// laid is a table wrapped for a width.
type laid struct {
	table
	x, width float64
	heads    []string
	rows     []laidRow
}

// laidRow is a row, wrapped.
type laidRow struct {
	row
	lines    [][]string // of each cell
	baseline float64    // of the first lines, below the top of the row
	height   float64
}

// lay wraps a table for a width, to stand at x.
func (s *sheet) lay(t table, x, width float64) laid {
	if t.gap == 0 {
		t.gap = rowGap
	}
	columns := make([]column, len(t.columns))
	copy(columns, t.columns)
	left, open := width-2*t.inset()-cellGap*float64(len(columns)-1), 0
	for _, c := range columns {
		left -= c.width
		if c.width == 0 {
			open++
		}
	}
	l := laid{table: t, x: x, width: width}
	hasHead := false
	for i := range columns {
		c := &columns[i]
		if c.width == 0 {
			c.width = left / float64(open)
		}
		if c.face == (face{}) {
			c.face = body
		}
		if c.ink == (ink{}) {
			c.ink = black
		}
		hasHead = hasHead || c.head != ""
	}
	l.columns = columns
	if hasHead {
		for _, c := range columns {
			l.heads = append(l.heads, c.head)
		}
	}
	for _, r := range t.rows {
		l.rows = append(l.rows, s.layRow(l, r))
	}
	return l
}

// inset is how far the cells stand from the edges.
func (t table) inset() float64 {
	if t.ruled {
		return inset
	}
	return 0
}

func (s *sheet) layRow(l laid, r row) laidRow {
	out := laidRow{row: r}
	for i := range r.cells {
		out.baseline = math.Max(out.baseline, r.faceOf(l.columns[i]).baseline())
	}
	for i, text := range r.cells {
		out.lines = append(out.lines, s.wrap(r.faceOf(l.columns[i]), l.columns[i].width, text))
	}
	out.height = l.heightOf(out, 0, out.most())
	return out
}

// heightOf is how high lines from up to to of each cell of a row are. The first
// lines of all cells stand on one line, however large their letters are.
func (l laid) heightOf(r laidRow, from, to int) float64 {
	height := 0.0
	for i, lines := range r.lines {
		f := r.faceOf(l.columns[i])
		height = math.Max(height, r.baseline-f.baseline()+float64(min(len(lines), to)-from)*f.height())
	}
	return height + l.gap
}

func (r row) faceOf(c column) face {
	if r.face != (face{}) {
		return r.face
	}
	return c.face
}

// headFace is that of the line of heads.
func (l laid) headFace() face {
	if len(l.columns) > 0 && l.columns[0].face.size > body.size {
		return face{size: l.columns[0].face.size * 0.7, bold: true}
	}
	return face{size: 7.5, bold: true}
}

func (l laid) titleHeight() float64 {
	if l.title == "" {
		return 0
	}
	return section.height() + 1.3
}

func (l laid) headHeight() float64 {
	if l.heads == nil {
		return 0
	}
	return l.headFace().height() + l.gap
}

func (l laid) height() float64 {
	h := l.titleHeight() + l.headHeight()
	for _, r := range l.rows {
		h += r.height
	}
	return h
}

// drawTop draws heading and heads, y being their top, and returns where the
// rows begin.
func (s *sheet) drawTop(l laid, y float64, again bool) float64 {
	if l.title != "" {
		text := l.title
		if again {
			text += " (continued)"
		}
		s.line(l.x, y, l.width, section, black, text)
		s.rule(l.x, y+section.height()+0.3, l.width, 0.3, black)
		y += l.titleHeight()
	}
	if l.heads != nil {
		x := l.x + l.inset()
		for i, c := range l.columns {
			if c.right {
				s.lineRight(x, y, c.width, l.headFace(), grey, l.heads[i])
			} else {
				s.line(x, y, c.width, l.headFace(), grey, l.heads[i])
			}
			x += c.width + cellGap
		}
		y += l.headHeight()
		if l.ruled {
			s.rule(l.x, y-l.gap/2, l.width, 0.2, faint)
		}
	}
	return y
}

// drawRow draws lines from up to to of each cell of a row, y being their top,
// and returns where the next row begins.
func (s *sheet) drawRow(l laid, r laidRow, y float64, from, to int) float64 {
	height := l.heightOf(r, from, to)
	if r.shaded {
		s.block(l.x, y-l.gap/2+0.1, l.width, height, shade)
	}
	x := l.x + l.inset()
	for i, lines := range r.lines {
		c := l.columns[i]
		f := r.faceOf(c)
		for n := from; n < min(len(lines), to); n++ {
			at := y + r.baseline - f.baseline() + float64(n-from)*f.height()
			if c.right {
				s.write(x+c.width-s.width(f, lines[n]), at, f, c.ink, lines[n])
			} else {
				s.write(x, at, f, c.ink, lines[n])
			}
		}
		x += c.width + cellGap
	}
	if l.ruled {
		s.rule(l.x, y+height-l.gap/2, l.width, 0.15, faint)
	}
	return y + height
}

// draw draws a table that fits on the page.
func (s *sheet) draw(l laid, y float64) float64 {
	y = s.drawTop(l, y, false)
	for _, r := range l.rows {
		y = s.drawRow(l, r, y, 0, r.most())
	}
	return y
}

// most is the number of lines of the longest cell.
func (r laidRow) most() int {
	most := 0
	for _, lines := range r.lines {
		most = max(most, len(lines))
	}
	return most
}

// flow draws a table over as many pages as it takes. A heading stays with the
// first of its rows, and begins each further page; a row goes to the next page
// as a whole, or is parted there if it is a long one.
func (s *sheet) flow(t table) {
	if len(t.rows) == 0 {
		return
	}
	l := s.lay(t, margin, s.inner())
	s.skip(blockGap)
	s.need(l.titleHeight() + l.headHeight() + math.Min(l.rows[0].height, s.fullRoom()/4))
	if h := l.height(); h <= s.fullRoom()/8 { // too small to be parted
		s.need(h)
	}
	s.y = s.drawTop(l, s.y, false)
	for i, r := range l.rows {
		if i == len(l.rows)-1 && r.height <= s.room() && r.height+l.tail > s.room() {
			s.newPage()
			s.y = s.drawTop(l, s.y, true)
		}
		s.flowRow(l, r)
	}
}

// ending is the room that the line at the end of a document takes.
func ending() float64 { return blockGap + body.height() }

func (s *sheet) flowRow(l laid, r laidRow) {
	next := func() {
		s.newPage()
		s.y = s.drawTop(l, s.y, true)
	}
	if r.height > s.room() && r.height <= s.fullRoom()/4 {
		next()
	}
	lineHeight := 0.0
	for _, c := range l.columns {
		lineHeight = math.Max(lineHeight, r.faceOf(c).height())
	}
	for from := 0; ; {
		fit := int((s.room() - l.gap) / lineHeight)
		rest := r.most() - from
		if rest <= fit {
			s.y = s.drawRow(l, r, s.y, from, r.most())
			return
		}
		const fewest = 2 // lines worth beginning a row with
		if fit >= fewest {
			s.drawRow(l, r, s.y, from, from+fit)
			from += fit
		}
		next()
	}
}

// pane is what stands in one column of the page: tables under each other, and
// under them perhaps a picture that is registered.
type pane struct {
	tables  []table
	picture string
	ratio   float64 // height of the picture, in widths of it
}

// laidPane is a pane laid for a width.
type laidPane struct {
	pane
	tables        []laid
	x, width      float64
	height        float64
	pictureHeight float64
}

func (s *sheet) layPane(p pane, x, width float64) laidPane {
	out := laidPane{pane: p, x: x, width: width, pictureHeight: width * p.ratio}
	for i, t := range p.tables {
		l := s.lay(t, x, width)
		out.tables = append(out.tables, l)
		out.height += l.height()
		if i > 0 {
			out.height += blockGap
		}
	}
	if p.picture != "" {
		if p.tables != nil {
			out.height += blockGap
		}
		out.height += out.pictureHeight
	}
	return out
}

// drawPane draws what fits on the page and returns where it ends.
func (s *sheet) drawPane(p laidPane, y float64) float64 {
	for i, l := range p.tables {
		if i > 0 {
			y += blockGap
		}
		y = s.draw(l, y)
	}
	if p.picture == "" {
		return y
	}
	if p.tables != nil {
		y += blockGap
	}
	s.picture(p.picture, p.x, y, p.width)
	return y + p.pictureHeight
}

// beside draws two columns, the left one over the given share of the width. If
// they do not fit on a page so, one thing follows the other.
func (s *sheet) beside(share float64, left, right pane) {
	a := s.layPane(left, margin, s.inner()*share-gutter/2)
	b := s.layPane(right, margin+s.inner()*share+gutter/2, s.inner()*(1-share)-gutter/2)
	height := math.Max(a.height, b.height)
	if height > s.fullRoom() {
		for _, p := range []laidPane{a, b} {
			for _, t := range p.pane.tables {
				s.flow(t)
			}
			if p.picture != "" {
				s.pictureAcross(p.picture, p.width, p.pictureHeight)
			}
		}
		return
	}
	s.skip(blockGap)
	s.need(height)
	s.y = math.Max(s.drawPane(a, s.y), s.drawPane(b, s.y))
}

// pictureAcross draws a picture that is registered under what is there, in the
// middle.
func (s *sheet) pictureAcross(name string, width, height float64) {
	s.skip(blockGap)
	s.need(height)
	s.picture(name, margin+(s.inner()-width)/2, s.y, width)
	s.y += height
}
