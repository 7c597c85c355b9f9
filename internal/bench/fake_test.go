package bench

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"finishbench/internal/grade"
	"finishbench/internal/lang"
	"finishbench/internal/part"
	"finishbench/internal/report"
)

// fakeShooter takes pictures that show nothing; a test can hold it, break it and
// make it ask.
type fakeShooter struct {
	mu    sync.Mutex
	plan  []part.Photo
	lost  bool          // the camera does not deliver
	stop  int           // breaks off after so many shots; 0: never
	asks  map[int]bool  // before which shots it asks
	each  time.Duration // time a shot takes
	press chan struct{}
	back  int // shots released
	took  int
	begun int // units
}

func newFakeShooter() *fakeShooter {
	f := &fakeShooter{press: make(chan struct{}, 1), asks: map[int]bool{}}
	for _, a := range []float64{0, 30, 60, 90, 120, 150} {
		f.plan = append(f.plan, part.Photo{Shot: part.Shot{File: "edge_" + part.Decimal(a) + ".jpg", View: part.Edge, Light: part.Back,
			AngleDeg: a}})
	}
	f.plan = append(f.plan,
		part.Photo{Shot: part.Shot{File: "face_diffuse.jpg", View: part.Face, Light: part.Diffuse}},
		part.Photo{Shot: part.Shot{File: "face_raking.jpg", View: part.Face, Light: part.Raking}})
	for i := range f.plan {
		p := &f.plan[i]
		p.Raw, p.MIME = grey(64+i, 48), "image/jpeg"
		p.Report = part.PictureReport{File: p.File, View: p.View, Light: p.Light, State: part.PictureOK}
	}
	return f
}

func (f *fakeShooter) set(change func()) { f.mu.Lock(); defer f.mu.Unlock(); change() }

func (f *fakeShooter) Shoot(ctx context.Context, u part.UnitInfo, kept []part.Photo, say func(Progress)) ([]part.Photo, error) {
	f.set(func() { f.begun++ })
	shots := append([]part.Photo(nil), kept...)
	for i := len(kept); i < len(f.plan); i++ {
		f.mu.Lock()
		lost, stop, ask, each := f.lost, f.stop, f.asks[i], f.each
		f.mu.Unlock()
		p := Progress{Done: i, Total: len(f.plan), View: f.plan[i].View, Light: f.plan[i].Light, AngleDeg: f.plan[i].AngleDeg}
		if lost || stop > 0 && i == stop {
			return shots, errors.New("the cable is out")
		}
		if ask {
			p.Asking = &part.Phrase{Key: "ask.turn", Args: map[string]string{"angle": part.Decimal(p.AngleDeg)}}
			say(p)
			select {
			case <-f.press:
			case <-ctx.Done():
				return shots, ctx.Err()
			}
			p.Asking = nil
		}
		say(p)
		select {
		case <-time.After(each):
		case <-ctx.Done():
			return shots, ctx.Err()
		}
		shots = append(shots, f.plan[i])
		f.set(func() { f.took++ })
	}
	return shots, nil
}

func (f *fakeShooter) Press() {
	select {
	case f.press <- struct{}{}:
	default:
	}
}

func (f *fakeShooter) Live(string) ([]byte, Aid, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.lost {
		return nil, Aid{}, errors.New("the cable is out")
	}
	return grey(320, 240), Aid{Gauge{.7, .5, 1}, Gauge{.2, .3, .8}, Gauge{math.NaN(), 0, .5}}, nil
}

func (f *fakeShooter) Cameras() []CameraState {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.lost {
		return []CameraState{{Name: "edge", Why: &part.Phrase{Key: "trouble.silent", Args: map[string]string{"seconds": "3"}}}}
	}
	return []CameraState{{Name: "edge", Ready: true}}
}

func (f *fakeShooter) Release(s []part.Photo) { f.set(func() { f.back += len(s) }) }

// grey is a grey JPEG file with a lighter disc in it.
func grey(w, h int) []byte {
	m := image.NewGray(image.Rect(0, 0, w, h))
	for i := range m.Pix {
		x, y := i%w-w/2, i/w-h/2
		m.Pix[i] = 60
		if x*x+y*y < h*h/9 {
			m.Pix[i] = 170
		}
	}
	m.SetGray(0, 0, color.Gray{255})
	var b bytes.Buffer
	_ = jpeg.Encode(&b, m, nil)
	return b.Bytes()
}

// fakeInspector gives the results of its list, one after the other.
type fakeInspector struct {
	mu   sync.Mutex
	next []Outcome
	took time.Duration
	n    int
}

func (f *fakeInspector) Inspect(_ context.Context, u part.UnitInfo, shots []part.Photo) (Outcome, error) {
	time.Sleep(f.took)
	f.mu.Lock()
	defer f.mu.Unlock()
	o := f.next[f.n%len(f.next)]
	f.n++
	r := *o.Result
	r.Unit, r.Stage = u.Name(), u.Stage
	o.Result = &r
	return o, nil
}

// fakeSurfaces is an invented unit's, with all that its sentence may tell.
var fakeSurfaces = []part.Surface{
	{View: part.Face, LookedAt: 0.86, OneLight: 0.08, NotLookedAt: 0.06,
		Why: map[part.Why]float64{part.Mirrored: 0.03, part.Clipped: 0.02, part.Outermost: 0.01}},
	part.UnsearchedSurface(part.Shell, 0), part.UnsearchedSurface(part.Shell, 120),
}

// Invented outcomes, one for each verdict, judged by the limits as shipped.
func passing() Outcome {
	o := outcomeOf(fakeResult(-12))
	o.MainFile, o.Main = "face_diffuse.jpg", grey(800, 600)
	return o
}

func reworking() Outcome { return reworkingBy(92) }

// reworkingBy has a proud step of so many um, and a moderate nib.
func reworkingBy(stepUM float64) Outcome {
	r := fakeResult(stepUM)
	r.Findings = []part.Finding{{Kind: part.Dust, Zone: part.ZoneFace, DiameterMM: part.Num(.21), Image: "face_diffuse.jpg",
		Box: part.Box{400, 300, 14, 14}, Confidence: .9}}
	o := outcomeOf(r)
	o.MainFile, o.Main, o.Crops = "edge_120.jpg", grey(800, 600), []report.Crop{{Number: 1, JPEG: grey(240, 270), W: 240, H: 270}}
	return o
}

func rejecting() Outcome {
	o := outcomeOf(fakeResult(-210))
	o.MainFile, o.Main, o.Crops = "edge_120.jpg", grey(800, 600), []report.Crop{{Number: 1, JPEG: grey(240, 270), W: 240, H: 270}}
	return o
}

func unmeasuring() Outcome {
	r := fakeResult(4)
	r.Pictures[2].State, r.Pictures[2].Problems = part.PictureNoOK, []part.Problem{{Name: "out_of_focus"}}
	o := outcomeOf(r)
	o.MainFile, o.Main = "face_raking.jpg", grey(800, 600)
	return o
}

// fakeResult is a unit with wet lacquer, and one station.
func fakeResult(stepUM float64) *part.Result {
	ok := func(file string, v part.View, l part.Light) part.PictureReport {
		return part.PictureReport{File: file, View: v, Light: l, State: part.PictureOK}
	}
	return &part.Result{Stage: part.Wet, MMPerPX: .015, Surfaces: fakeSurfaces,
		Pictures: []part.PictureReport{ok("edge_120.jpg", part.Edge, part.Back), ok("face_diffuse.jpg", part.Face, part.Diffuse),
			ok("face_raking.jpg", part.Face, part.Raking)},
		Seam: part.Seam{Stations: []part.StepStation{{Image: "edge_120.jpg", AngleDeg: 120, Side: part.Left, State: part.Measured,
			StepUM: part.Num(stepUM), UUM: part.Num(4), GapUM: part.Num(0), BeadUM: part.Num(0)}}}}
}

func outcomeOf(r *part.Result) Outcome {
	grade.Judge(r, grade.DefaultLimits())
	return Outcome{Result: r}
}

// memory keeps records for as long as the test runs, unless it is broken.
type memory struct {
	Memory
	broken error
}

func (m *memory) Add(ctx context.Context, in part.Inspection) (int64, error) {
	if err := m.fault(); err != nil {
		return 0, err
	}
	return m.Memory.Add(ctx, in)
}

func (m *memory) fault() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.broken
}

func (m *memory) Withdraw(ctx context.Context, id int64, by, why string) error {
	if err := m.fault(); err != nil {
		return err
	}
	return m.Memory.Withdraw(ctx, id, by, why)
}

func (m *memory) Restore(ctx context.Context, id int64, by, why string) error {
	if err := m.fault(); err != nil {
		return err
	}
	return m.Memory.Restore(ctx, id, by, why)
}

func (m *memory) Overrule(ctx context.Context, id int64, o part.Overrule) error {
	if err := m.fault(); err != nil {
		return err
	}
	return m.Memory.Overrule(ctx, id, o)
}

// rigged is a station with fakes, running, and its server.
type rigged struct {
	*Station
	shooter *fakeShooter
	judge   *fakeInspector
	memory  *memory
	server  *Server
	web     *httptest.Server
	end     context.CancelFunc
}

func rig(t testing.TB, o Options, outcomes ...Outcome) *rigged {
	t.Helper()
	if len(outcomes) == 0 {
		outcomes = []Outcome{passing(), reworking(), rejecting(), unmeasuring()}
	}
	r := &rigged{shooter: newFakeShooter(), judge: &fakeInspector{next: outcomes}, memory: &memory{}}
	r.Station = NewStation(Parts{Shooter: r.shooter, Inspector: r.judge, Recorder: r.memory, Log: t.Logf},
		part.UnitInfo{Serial: "k041", Side: "R", Stage: part.Wet}, FollowNumber)
	ctx, cancel := context.WithCancel(context.Background())
	r.end = cancel
	done := make(chan struct{})
	go func() { r.Station.Run(ctx); close(done) }()
	if o.Languages == nil {
		var err error
		if o.Languages, _, err = lang.Load(""); err != nil {
			t.Fatal(err)
		}
	}
	r.server = NewServer(r.Station, o)
	r.web = httptest.NewServer(http.Handler(r.server))
	t.Cleanup(func() {
		cancel()
		<-done
		r.web.Close()
	})
	return r
}

// until waits for a state.
func (r *rigged) until(t testing.TB, what string, ok func(*Snapshot) bool) *Snapshot {
	t.Helper()
	for end := time.Now().Add(5 * time.Second); time.Now().Before(end); time.Sleep(time.Millisecond) {
		if s := r.Snapshot(); ok(s) {
			return s
		}
	}
	t.Fatalf("%s did not come; it stands at %q", what, r.Snapshot().Phase)
	return nil
}

func (r *rigged) phase(t testing.TB, p Phase) *Snapshot {
	t.Helper()
	return r.until(t, string(p), func(s *Snapshot) bool { return s.Phase == p && !s.busy })
}

// send is Send from whoever sees the state as it is.
func (r *rigged) send(t testing.TB, e ...Event) {
	t.Helper()
	if err := r.Send(t.Context(), -1, e...); err != nil {
		t.Fatalf("%T: %v", e[0], err)
	}
}
