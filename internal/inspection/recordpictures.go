package inspection

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"finishbench/internal/capture"
	"finishbench/internal/part"
	"finishbench/internal/records"
	"finishbench/internal/report"
)

// RecordedPictures reads an inspection's pictures from the records, each once, for
// crops. Call release when done with them.
type RecordedPictures struct {
	ctx   context.Context
	store *records.Store
	in    *part.Inspection
	read  map[string]*part.Image
}

// NewRecordedPictures are the pictures of an inspection.
func NewRecordedPictures(ctx context.Context, store *records.Store, in *part.Inspection) *RecordedPictures {
	return &RecordedPictures{ctx: ctx, store: store, in: in, read: map[string]*part.Image{}}
}

// Image is the picture with this file's name. The error is records.ErrForgotten
// where only its numbers were kept.
func (r *RecordedPictures) Image(file string) (*part.Image, error) {
	if im, ok := r.read[file]; ok {
		return im, nil
	}
	for _, p := range r.in.Pictures {
		if p.File != file {
			continue
		}
		raw, _, err := r.store.PictureBytes(r.ctx, p.SHA256)
		if err != nil {
			return nil, fmt.Errorf("inspection %d, picture %s: %w", r.in.ID, file, err)
		}
		im, err := DecodeImage(raw, file)
		if err != nil {
			return nil, fmt.Errorf("inspection %d: %w", r.in.ID, err)
		}
		r.read[file] = im
		return im, nil
	}
	return nil, fmt.Errorf("inspection %d has no picture %s", r.in.ID, file)
}

// Release hands their pixels back.
func (r *RecordedPictures) Release() {
	for _, im := range r.read {
		capture.Release(im)
	}
}

// DecodeImage decodes a picture file's content. The reader checks files, not
// bytes, before the pixel library sees them, so the content passes through one.
func DecodeImage(raw []byte, name string) (*part.Image, error) {
	dir, err := os.MkdirTemp("", "finishbench-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, filepath.Base(name))
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		return nil, err
	}
	return capture.Read(path)
}

// CropsFrom makes a crop of finding f of an inspection in the records.
func CropsFrom(ctx context.Context, store *records.Store) func(id int64, f part.Finding) (report.Crop, error) {
	return func(id int64, f part.Finding) (report.Crop, error) {
		in, err := store.Get(ctx, id)
		if err != nil {
			return report.Crop{}, err
		}
		r := NewRecordedPictures(ctx, store, &in)
		defer r.Release()
		im, err := r.Image(f.Image)
		if err != nil {
			return report.Crop{}, err
		}
		return report.MakeCrop(im, f.Image, f, in.Result.ScaleOf(f.Image))
	}
}
