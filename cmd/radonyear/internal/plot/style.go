package plot

import "image/color"

// The look of all figures, in points of 1/72 inch.
const (
	width    = 160 / 25.4 * 72 // 160 mm, the width of a column
	narrow   = 86 / 25.4 * 72  // 86 mm, what a page leaves of 360 pixels, with letters as on any page
	dpi      = 200             // of a PNG
	margin   = 9.0
	gap      = 16.0 // between panels
	keyWidth = 24.0 // of a sample in the legend

	titleSize = 13.0
	textSize  = 10.0 // at 360 pixels wide, 8 of them
	noteSize  = 9.0
	leading   = 1.3 // of a line, in sizes of its text
)

var (
	ink   = color.NRGBA{0x1A, 0x1A, 0x1A, 0xFF}
	soft  = color.NRGBA{0x55, 0x55, 0x55, 0xFF}
	grid  = color.NRGBA{0xE4, 0xE4, 0xE4, 0xFF}
	paper = color.NRGBA{0xFF, 0xFF, 0xFF, 0xFF}
)

// shape is a point's.
type shape int

const (
	disc shape = iota
	ring
	square
	diamond
	down  // a triangle that points down, hollow
	cross // upright triangle, filled
)

// looks is how a role looks. The colours are three of those that Okabe and Ito (2008,
// Color Universal Design) chose to be told apart by all readers, and greys; since
// print and screens differ, dashes and shapes tell them apart as well.
type looks struct {
	line  color.NRGBA
	tint  color.NRGBA // of areas
	dash  []float64
	width float64
	shape shape
	size  float64 // of a point, radius
}

var (
	blue      = color.NRGBA{0x00, 0x5F, 0x9E, 0xFF}
	vermilion = color.NRGBA{0xC4, 0x4E, 0x00, 0xFF}
	grey      = color.NRGBA{0x6B, 0x6B, 0x6B, 0xFF}
)

var styles = map[Role]looks{
	Measured:  {line: ink, tint: color.NRGBA{0xD9, 0xD9, 0xD9, 0xFF}, width: 1, shape: disc, size: 1.7},
	Limit:     {line: ink, tint: paper, width: 1, shape: down, size: 3},
	Model:     {line: blue, tint: color.NRGBA{0xC6, 0xDF, 0xF0, 0xFF}, width: 1.6, shape: square, size: 3},
	Before:    {line: grey, tint: color.NRGBA{0xE0, 0xE0, 0xE0, 0xFF}, dash: []float64{5, 1.6}, width: 1.5, shape: ring, size: 3},
	After:     {line: blue, tint: color.NRGBA{0xC6, 0xDF, 0xF0, 0xFF}, width: 1.6, shape: square, size: 2.8},
	Level:     {line: ink, tint: grid, dash: []float64{7, 3.5}, width: 1.4, shape: disc, size: 2},
	Level2:    {line: ink, tint: grid, dash: []float64{7, 3, 1.5, 3}, width: 1.2, shape: disc, size: 2},
	Level3:    {line: ink, tint: grid, dash: []float64{2, 2.5}, width: 1.2, shape: disc, size: 2},
	Joined:    {line: ink, tint: ink, width: 2.2, shape: diamond, size: 5},
	Group:     {line: ink, tint: ink, width: 1.4, shape: diamond, size: 3.6},
	Next:      {line: vermilion, tint: color.NRGBA{0xEB, 0xAD, 0x7C, 0xFF}, dash: []float64{3, 2}, width: 1.8, shape: ring, size: 3},
	Attention: {line: vermilion, tint: color.NRGBA{0xEB, 0xAD, 0x7C, 0xFF}, dash: []float64{4, 1.5, 1, 1.5}, width: 1.6, shape: cross, size: 4.6},
	Quiet:     {line: soft, tint: color.NRGBA{0xEF, 0xEF, 0xEF, 0xFF}, width: 0.9, shape: ring, size: 1.8},
}
