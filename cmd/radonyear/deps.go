//go:build deps

package main

import (
	_ "github.com/apache/arrow/go/v17/arrow"
	_ "github.com/apache/arrow/go/v17/arrow/array"
	_ "github.com/apache/arrow/go/v17/arrow/ipc"
	_ "github.com/apache/arrow/go/v17/arrow/memory"
	_ "github.com/apache/arrow/go/v17/parquet/compress"
	_ "github.com/apache/arrow/go/v17/parquet/file"
	_ "github.com/google/go-cmp/cmp"
	_ "github.com/mattn/go-isatty"
	_ "github.com/olekukonko/tablewriter"
	_ "github.com/parquet-go/parquet-go"
	_ "github.com/pierrec/lz4/v4"
	_ "github.com/rogpeppe/go-internal/testscript"
	_ "github.com/urfave/cli/v2"
	_ "github.com/xuri/excelize/v2"
	_ "golang.org/x/text/encoding/charmap"
	_ "golang.org/x/text/encoding/unicode"
	_ "gonum.org/v1/gonum/mat"
	_ "gonum.org/v1/gonum/optimize"
	_ "gonum.org/v1/gonum/stat/distuv"
	_ "pgregory.net/rapid"
)
