package sources

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"finishbench/internal/camera/trouble"
	"finishbench/internal/part"
)

// arriving plays a folder.
type arriving struct{ c chan any }

func (a arriving) Next(ctx context.Context) (Frame, error) {
	select {
	case <-ctx.Done():
		return Frame{}, ctx.Err()
	case x := <-a.c:
		if err, ok := x.(error); ok {
			return Frame{}, err
		}
		return x.(Frame), nil
	}
}

func (a arriving) Close() error { return nil }

func dot(v uint8) *part.Image { return &part.Image{W: 1, H: 1, C: 1, Pix8: []uint8{v}} }

func TestFolder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		in := arriving{make(chan any)}
		var dropped []uint8
		f := NewFolder("face", in, func(im *part.Image) { dropped = append(dropped, im.Pix8[0]) })
		defer f.Close()
		in.c <- Frame{Image: dot(1), Name: "a.jpg", Taken: time.Now()}
		synctest.Wait()
		time.Sleep(time.Second)
		trigger := time.Now()
		time.AfterFunc(time.Second, func() { in.c <- Frame{Image: dot(2), Name: "b.jpg", Taken: trigger} })
		frame, err := f.Newest(t.Context(), trigger)
		if err != nil || frame.Name != "b.jpg" || time.Since(trigger) != time.Second || !slices.Equal(dropped, []uint8{1}) {
			t.Errorf("%s after %v, %v; dropped %v", frame.Name, time.Since(trigger), err, dropped)
		}
		// Given once.
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := f.Newest(ctx, time.Time{}); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("the same file twice: %v", err)
		}
		// A file that cannot be used is told once; then a folder out of reach, at once.
		in.c <- trouble.New(trouble.BadPicture, "c.jpg is cut off", "file", "c.jpg")
		synctest.Wait()
		var bad *part.Trouble
		if _, err := f.Newest(t.Context(), time.Time{}); !errors.As(err, &bad) || bad.Args["file"] != "c.jpg" {
			t.Errorf("bad file: %v", err)
		}
		in.c <- fmt.Errorf("folder: %w", ErrAway)
		synctest.Wait()
		var lost *LostError
		if _, err := f.Newest(t.Context(), time.Time{}); !errors.As(err, &lost) || f.State().Ready {
			t.Errorf("out of reach: %v, %+v", err, f.State())
		}
		in.c <- Frame{Image: dot(3), Name: "d.jpg", Taken: time.Now()}
		synctest.Wait()
		if frame, err := f.Newest(t.Context(), time.Time{}); err != nil || frame.Name != "d.jpg" {
			t.Errorf("after it came back: %v", err)
		}
	})
}

func TestReplay(t *testing.T) {
	var mu sync.Mutex
	reads, drops := map[string]int{}, 0
	r, err := NewReplay(ReplayOptions{Name: "edge", Units: []string{"u1", "u2"},
		Scan: func(dir string) (part.Folder, error) {
			return part.Folder{Name: dir, Shots: []part.Shot{
				{File: "edge_000.jpg", Path: dir + "/edge_000.jpg", View: part.Edge},
				{File: "edge_030.jpg", Path: dir + "/edge_030.jpg", View: part.Edge, AngleDeg: 30},
				{File: "face_raking.jpg", Path: dir + "/face_raking.jpg", View: part.Face, Light: part.Raking},
			}}, nil
		},
		Read: func(path string) (Frame, error) {
			mu.Lock()
			defer mu.Unlock()
			reads[path]++
			return Frame{Image: dot(1), Raw: []byte(path), MIME: "image/jpeg"}, nil
		},
		Drop: func(*part.Image) { mu.Lock(); drops++; mu.Unlock() },
	})
	if err != nil {
		t.Fatal(err)
	}
	var told *part.Trouble
	if _, err := r.Newest(t.Context(), time.Time{}); !errors.As(err, &told) || told.Key != trouble.NoUnit {
		t.Errorf("before the first unit: %v", err)
	}
	for _, dir := range []string{"u1", "u2"} {
		shots, err := r.NextUnit()
		if err != nil || len(shots) != 3 {
			t.Fatal(err)
		}
		for _, k := range []int{2, 0, 0} { // in any order, and one twice
			want := shots[k]
			if want.View == part.Edge { // as a plan has it; a folder's names do not tell it
				want.Light = part.Back
			}
			r.Expect(want)
			trigger := time.Now().Add(20 * time.Millisecond)
			f, err := r.Newest(t.Context(), trigger)
			if err != nil || string(f.Raw) != dir+"/"+shots[k].File || f.Taken.Before(trigger) {
				t.Errorf("%s: got %s, %v", shots[k].File, f.Raw, err)
			}
		}
		r.Expect(part.Shot{View: part.Shell, Light: part.Diffuse})
		if _, err := r.Newest(t.Context(), time.Time{}); !errors.As(err, &told) || told.Key != trouble.NoShot {
			t.Errorf("a picture that is not there: %v", err)
		}
	}
	if _, err := r.NextUnit(); !errors.Is(err, io.EOF) || !errors.As(err, &told) {
		t.Errorf("after the last unit: %v", err)
	}
	r.Close()
	// The 30 degrees of each unit were read ahead and not wanted.
	if reads["u1/edge_000.jpg"] != 2 || reads["u1/face_raking.jpg"] != 1 || drops != 2 {
		t.Errorf("reads %v, %d dropped", reads, drops)
	}
}
