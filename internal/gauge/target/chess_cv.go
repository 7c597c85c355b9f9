package target

import (
	"fmt"
	"image"

	"gocv.io/x/gocv"

	"finishbench/internal/part"
)

// cornerFinder names one of OpenCV's two searches for chessboards.
type cornerFinder int

const (
	quadFinder   cornerFinder = iota // joins dark squares; finds only the whole board
	sectorFinder                     // grows from single corners (Duda and Frese 2018); can say how many it sees
)

// searchCorners looks for a board of cols x rows inner corners in a plane of
// linear light, and gives the corners row by row. Where larger is set (sector
// finder only) the board may have more corners than asked for; gotCols and
// gotRows tell how many. None are returned where no such board is seen.
func searchCorners(p *part.Plane, cols, rows int, how cornerFinder, larger bool) (corners []part.Point, gotCols, gotRows int, err error) {
	if p.W < leastSide || p.H < leastSide || len(p.V) != p.W*p.H || cols < 3 || rows < 3 {
		return nil, 0, 0, fmt.Errorf("target: search %d x %d corners in a picture of %d x %d", cols, rows, p.W, p.H)
	}
	src, err := gocv.NewMatFromBytes(p.H, p.W, gocv.MatTypeCV8UC1, encoded(p))
	if err != nil {
		return nil, 0, 0, fmt.Errorf("target: search corners in a picture of %d x %d: %w", p.W, p.H, err)
	}
	defer src.Close()
	out := gocv.NewMat()
	defer out.Close()
	meta := gocv.NewMat()
	defer meta.Close()
	size := image.Pt(cols, rows)
	found := false
	gotCols, gotRows = cols, rows
	switch {
	case how == quadFinder:
		found = gocv.FindChessboardCorners(src, size, &out, gocv.CalibCBAdaptiveThresh|gocv.CalibCBNormalizeImage|gocv.CalibCBFastCheck)
	case larger:
		found = gocv.FindChessboardCornersSBWithMeta(src, size, &out, gocv.CalibCBNormalizeImage|gocv.CalibCBLarger, &meta)
		gotCols, gotRows = meta.Cols(), meta.Rows()
	default:
		found = gocv.FindChessboardCornersSB(src, size, &out, gocv.CalibCBNormalizeImage|gocv.CalibCBExhaustive)
	}
	if !found || out.Empty() {
		return nil, 0, 0, nil
	}
	v, err := out.DataPtrFloat32()
	if err != nil {
		return nil, 0, 0, fmt.Errorf("target: read the corners found: %w", err)
	}
	if len(v) != 2*gotCols*gotRows {
		return nil, 0, 0, nil
	}
	for i := 0; i+1 < len(v); i += 2 {
		corners = append(corners, part.Point{X: float64(v[i]), Y: float64(v[i+1])})
	}
	return corners, gotCols, gotRows, nil
}
