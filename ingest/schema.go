package ingest

import "github.com/apache/arrow/go/v17/arrow"

// Schema is the normalised table's fields, in order; any other column of the
// input follows as text under its own name. Strings are dictionary-encoded.
//
//	home, area, room, detector, method  text; "" where the file does not say
//	start, end      timestamp[us, UTC]; a reading covers start ≤ t < end
//	zone            text: IANA name or offset in which the home's days are cut
//	concentration   float64, Bq/m³; the detection limit where below_limit
//	uncertainty     float64, standard (k=1), Bq/m³; null if not stated
//	below_limit     bool
//	phase           text: "", "before", "after"
//	kind            text: "field", "duplicate", "blank", "spike"
//	weight          float64; null if not stated
//	share           float64 in (0, 1]: share of start..end that was measured; null if not stated (all)
//	file            text: the input's path
//	line            int64: its line, or row number in typed files
//
// file and line are for messages; writers leave them out.
var schemaFields = []arrow.Field{
	{Name: "home", Type: dictText},
	{Name: "area", Type: dictText},
	{Name: "room", Type: dictText},
	{Name: "detector", Type: dictText},
	{Name: "method", Type: dictText},
	{Name: "start", Type: utcMicros},
	{Name: "end", Type: utcMicros},
	{Name: "zone", Type: dictText},
	{Name: "concentration", Type: arrow.PrimitiveTypes.Float64},
	{Name: "uncertainty", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
	{Name: "below_limit", Type: arrow.FixedWidthTypes.Boolean},
	{Name: "phase", Type: dictText},
	{Name: "kind", Type: dictText},
	{Name: "weight", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
	{Name: "share", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
	{Name: "file", Type: dictText},
	{Name: "line", Type: arrow.PrimitiveTypes.Int64},
}

var (
	dictText  = &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int32, ValueType: arrow.BinaryTypes.String}
	utcMicros = &arrow.TimestampType{Unit: arrow.Microsecond, TimeZone: "UTC"}
)
