package config

import (
	"fmt"
	"math"
	"net"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"finishbench/internal/grade"
	"finishbench/internal/part"
)

// Bench is how the operator's page is served. What the command line says wins.
type Bench struct {
	Name      string   `mapstructure:"name"`       // in the records; "": this machine's
	Listen    string   `mapstructure:"listen"`     // address:port
	Language  string   `mapstructure:"language"`   // of browsers that ask for none that is there
	PedalKeys []string `mapstructure:"pedal_keys"` // keys beside the space bar, as a browser names them
	IdleMin   float64  `mapstructure:"idle_min"`   // a person who does nothing for so long is signed out; 1..720
}

// Camera is a source of pictures. Which keys count depends on Source.
type Camera struct {
	Name     string `mapstructure:"name"`     // by which the plan calls it
	Source   string `mapstructure:"source"`   // v4l2, gstreamer, folder or replay
	Device   string `mapstructure:"device"`   // v4l2: /dev/v4l/by-id/...
	Pipeline string `mapstructure:"pipeline"` // gstreamer
	Folder   string `mapstructure:"folder"`   // folder, replay; made absolute by [LoadStation]
	Loop     string `mapstructure:"loop"`     // replay: "yes": from the last unit on to the first

	WidthPX  int     `mapstructure:"width_px"`  // v4l2, gstreamer: 16..32768
	HeightPX int     `mapstructure:"height_px"` // likewise
	Format   string  `mapstructure:"format"`    // rgb (also ""), grey or grey16
	Bits     int     `mapstructure:"bits"`      // grey16: that count; 0: 16, 9..16
	Stream   string  `mapstructure:"stream"`    // v4l2: "jpeg": the camera sends JPEG frames; "": it does not
	PerS     int     `mapstructure:"per_s"`     // v4l2: frames per second; 0: the camera's choice, 1..240
	DelayMS  float64 `mapstructure:"delay_ms"`  // from the beginning of an exposure to the frame's arrival, at most; 0: [DefaultDelay]
	SilentS  float64 `mapstructure:"silent_s"`  // lost after so long without a frame; 0: 3
	FrozenS  float64 `mapstructure:"frozen_s"`  // lost after so long with the same frame; 0: never

	ExposureUS    *float64 `mapstructure:"exposure_us"`     // v4l2; absent: left alone, 100..10000000
	Gain          *int     `mapstructure:"gain"`            // v4l2, the camera's own numbers; absent: left alone
	WhiteBalanceK *int     `mapstructure:"white_balance_k"` // v4l2; absent: left alone, 1000..20000
	Focus         *int     `mapstructure:"focus"`           // v4l2, the camera's own numbers; absent: left alone
}

// Rig is the controller of lights and turntable.
type Rig struct {
	Device  string     `mapstructure:"device"`   // /dev/serial/by-id/...; "": the operator turns and switches
	Baud    int        `mapstructure:"baud"`     // 300..4000000
	Start   []string   `mapstructure:"start"`    // lines sent after the line was opened
	Turn    string     `mapstructure:"turn"`     // {deg} becomes the angle
	Rest    string     `mapstructure:"rest"`     // answered once the turntable stands still; "": the turn's ok says that
	Home    []string   `mapstructure:"home"`     // turns to zero; empty: zero is where it is switched on
	Ask     string     `mapstructure:"ask"`      // asks for the position; "": it cannot be asked for
	Angle   string     `mapstructure:"angle"`    // regular expression with the angle in brackets
	WakeS   float64    `mapstructure:"wake_s"`   // 0.1..30
	AnswerS float64    `mapstructure:"answer_s"` // 0.1..60
	MotionS float64    `mapstructure:"motion_s"` // 0.1..600
	Lights  []RigLight `mapstructure:"lights"`
}

// RigLight is what switches a light.
type RigLight struct {
	Light string   `mapstructure:"light"` // diffuse, raking or back
	On    []string `mapstructure:"on"`
	Off   []string `mapstructure:"off"`
}

// Screen is the tablet or spare monitor that lights the unit, and how it stands.
type Screen struct {
	PeriodMM   float64 `mapstructure:"period_mm"`   // of the stripes, on the screen, 0.5..100
	DistanceMM float64 `mapstructure:"distance_mm"` // from the faceplate's middle along the mirrored line of sight; 0: not known, 20..2000
	// Between line of sight and faceplate's normal, in the plane of the picture's x, -75..75.
	TiltDeg  float64 `mapstructure:"tilt_deg"`
	Contrast float64 `mapstructure:"contrast"` // of the stripes, linear light, 0.1..1
	Curve    string  `mapstructure:"curve"`    // file of its light curve; "": sRGB's; made absolute by [LoadStation]
	Mirror   string  `mapstructure:"mirror"`   // file of its sensitivity; "": by period, distance and tilt; likewise
}

// A plan step's lights that stand for a set before a screen: the full one of ten pictures,
// and the short one of six.
const (
	ScreenLight  = "screen"
	ScreenLight6 = "screen6"
)

// PlanStep is one picture of the shooting plan, with a [ScreenLight] a set.
type PlanStep struct {
	View     string   `mapstructure:"view"`      // edge, face or shell
	Light    string   `mapstructure:"light"`     // diffuse, raking, back or, but for edge, screen or screen6; edge: "" too
	AngleDeg *float64 `mapstructure:"angle_deg"` // edge, and shell where it is one of several turns, -360..360
	Camera   string   `mapstructure:"camera"`    // a name of cameras; "" where there is one camera only
	SettleMS float64  `mapstructure:"settle_ms"` // 0..10000
	Place    string   `mapstructure:"place"`     // "hand": the operator places the unit first; "": the rig does
}

// DefaultDelay is a camera's delay_ms where it is left out (common practice, no source).
const DefaultDelay = 200 * time.Millisecond

// What the words are.
var (
	cameraSources = []string{"v4l2", "gstreamer", "folder", "replay"}
	cameraFormats = []string{"rgb", "grey", "grey16"}
	rigLights     = []string{string(part.Diffuse), string(part.Raking), string(part.Back)}
	camName       = regexp.MustCompile(`^[A-Za-z0-9_-]{1,40}$`)
)

func (c *checks) word(key, v string, words ...string) {
	if !slices.Contains(words, v) {
		known := slices.DeleteFunc(slices.Clone(words), func(w string) bool { return w == "" })
		*c = append(*c, &grade.KeyError{Key: key, What: fmt.Sprintf("%q is not known here", v), Word: v, Words: known})
	}
}

// besideBench makes the cameras' folders and the screen's files absolute.
func (s *Station) besideBench(from func(string) string) {
	for i := range s.Cameras {
		s.Cameras[i].Folder = from(s.Cameras[i].Folder)
	}
	s.Screen.Curve, s.Screen.Mirror = from(s.Screen.Curve), from(s.Screen.Mirror)
}

func (s Station) validateBench(c *checks) {
	if _, _, err := net.SplitHostPort(s.Bench.Listen); err != nil {
		c.addf("bench.listen", "%q is no address and port, such as 127.0.0.1:8080", printable(s.Bench.Listen))
	}
	for i, k := range s.Bench.PedalKeys {
		if strings.TrimSpace(k) == "" {
			c.addf(fmt.Sprintf("bench.pedal_keys[%d]", i), "is empty; the space bar always counts")
		}
	}
	c.between("bench.idle_min", s.Bench.IdleMin, 1, 720)
	seen := map[string]bool{}
	for i, cam := range s.Cameras {
		key := fmt.Sprintf("cameras[%d]", i)
		cam.validate(c, key)
		if seen[cam.Name] {
			c.addf(key+".name", "two cameras are called %s", cam.Name)
		}
		seen[cam.Name] = true
	}
	s.Rig.validate(c)
	s.Screen.validate(c)
	s.validatePlan(c)
}

func (cam Camera) validate(c *checks, key string) {
	if !camName.MatchString(cam.Name) {
		c.addf(key+".name", "%q: use up to 40 letters, digits, - and _", printable(cam.Name))
	}
	c.word(key+".source", cam.Source, cameraSources...)
	c.word(key+".format", cam.Format, append([]string{""}, cameraFormats...)...)
	c.word(key+".stream", cam.Stream, "", "jpeg")
	c.word(key+".loop", cam.Loop, "", "yes")
	c.zeroOr(key+".bits", float64(cam.Bits), 9, 16)
	c.zeroOr(key+".per_s", float64(cam.PerS), 1, 240)
	c.zeroOr(key+".delay_ms", cam.DelayMS, 1, 10000)
	c.zeroOr(key+".silent_s", cam.SilentS, 0.5, 600)
	c.zeroOr(key+".frozen_s", cam.FrozenS, 1, 3600)
	if cam.ExposureUS != nil {
		c.between(key+".exposure_us", *cam.ExposureUS, 100, 1e7)
	}
	if cam.WhiteBalanceK != nil {
		c.between(key+".white_balance_k", float64(*cam.WhiteBalanceK), 1000, 20000)
	}
	for name, v := range map[string]*int{"gain": cam.Gain, "focus": cam.Focus} {
		if v != nil {
			c.between(key+"."+name, float64(*v), -1<<31, 1<<31-1)
		}
	}
	cam.validateSource(c, key)
}

// validateSource checks that what the source needs is there, and nothing that it
// would not heed.
func (cam Camera) validateSource(c *checks, key string) {
	v4l2, gst, files := cam.Source == "v4l2", cam.Source == "gstreamer", cam.Source == "folder" || cam.Source == "replay"
	need := func(name string, wanted, there bool, what string) {
		switch {
		case wanted && !there:
			c.addf(key+"."+name, "is missing: %s", what)
		case !wanted && there && slices.Contains(cameraSources, cam.Source):
			c.addf(key+"."+name, "is not for a camera of source %s: take it out", cam.Source)
		}
	}
	need("device", v4l2, cam.Device != "", "name the camera as listed in /dev/v4l/by-id")
	need("pipeline", gst, cam.Pipeline != "", "give the pipeline as for gst-launch-1.0, without its end")
	need("folder", files, cam.Folder != "", "name the folder")
	need("width_px", v4l2 || gst, cam.WidthPX != 0, "give the size that the camera delivers, in pixels")
	need("height_px", v4l2 || gst, cam.HeightPX != 0, "give the size that the camera delivers, in pixels")
	if cam.Device != "" && !filepath.IsAbs(cam.Device) {
		c.addf(key+".device", "%q: name it in full, as listed in /dev/v4l/by-id", printable(cam.Device))
	}
	if v4l2 || gst {
		c.zeroOr(key+".width_px", float64(cam.WidthPX), 16, 32768)
		c.zeroOr(key+".height_px", float64(cam.HeightPX), 16, 32768)
	}
	for _, x := range []struct {
		name  string
		there bool
	}{
		{"stream", cam.Stream != ""}, {"per_s", cam.PerS != 0}, {"exposure_us", cam.ExposureUS != nil}, {"gain", cam.Gain != nil},
		{"white_balance_k", cam.WhiteBalanceK != nil}, {"focus", cam.Focus != nil},
	} {
		if !v4l2 {
			need(x.name, false, x.there, "")
		}
	}
	if cam.Source != "replay" {
		need("loop", false, cam.Loop != "", "")
	}
	if cam.Bits != 0 && cam.Format != "grey16" {
		c.addf(key+".bits", "is for format grey16 only: take it out")
	}
}

func (r Rig) validate(c *checks) {
	c.between("rig.baud", float64(r.Baud), 300, 4e6)
	c.between("rig.wake_s", r.WakeS, 0.1, 30)
	c.between("rig.answer_s", r.AnswerS, 0.1, 60)
	c.between("rig.motion_s", r.MotionS, 0.1, 600)
	if r.Device != "" && !filepath.IsAbs(r.Device) {
		c.addf("rig.device", "%q: name it in full, as listed in /dev/serial/by-id", printable(r.Device))
	}
	c.line("rig.turn", r.Turn)
	if !strings.Contains(r.Turn, "{deg}") {
		c.addf("rig.turn", "write {deg} where the angle goes, as in G0 A{deg}")
	}
	c.lines("rig.start", r.Start)
	c.lines("rig.home", r.Home)
	for key, line := range map[string]string{"rig.rest": r.Rest, "rig.ask": r.Ask} {
		if line != "" {
			c.line(key, line)
		}
	}
	if re, err := regexp.Compile(r.Angle); err != nil || r.Ask != "" && re.NumSubexp() < 1 {
		c.addf("rig.angle", "give a regular expression with the angle in brackets, as in A:([-0-9.]+)")
	} else if r.Ask == "" && r.Angle != "" {
		c.addf("rig.angle", "is set without rig.ask: set both, or none")
	}
	seen := map[string]bool{}
	for i, l := range r.Lights {
		key := fmt.Sprintf("rig.lights[%d]", i)
		c.word(key+".light", l.Light, rigLights...)
		if seen[l.Light] {
			c.addf(key+".light", "%s is there twice", l.Light)
		}
		seen[l.Light] = true
		for name, lines := range map[string][]string{".on": l.On, ".off": l.Off} {
			if len(lines) == 0 {
				c.addf(key+name, "is missing: list the lines that are sent")
			}
			c.lines(key+name, lines)
		}
	}
}

func (x Screen) validate(c *checks) {
	c.between("screen.period_mm", x.PeriodMM, 0.5, 100)
	c.zeroOr("screen.distance_mm", x.DistanceMM, 20, 2000)
	c.between("screen.tilt_deg", x.TiltDeg, -75, 75)
	c.between("screen.contrast", x.Contrast, 0.1, 1)
}

func (c *checks) lines(key string, lines []string) {
	for i, l := range lines {
		c.line(fmt.Sprintf("%s[%d]", key, i), l)
	}
}

// line checks a line for the controller.
func (c *checks) line(key, line string) {
	bad := func(r rune) bool { return r > unicode.MaxASCII || !unicode.IsPrint(r) }
	if strings.TrimSpace(line) == "" || len(line) > 200 || strings.ContainsFunc(line, bad) {
		c.addf(key, "%q: a line of G-code has 1 to 200 printable ASCII signs", printable(line))
	}
}

func (s Station) validatePlan(c *checks) {
	names, replays := []string{}, 0
	for _, cam := range s.Cameras {
		names = append(names, cam.Name)
		if cam.Source == "replay" {
			replays++
		}
	}
	switch {
	case len(s.Plan) == 0 && len(names) > replays:
		c.addf("plan", "is empty, but there are cameras: list the shots of a unit")
	case len(s.Plan) == 0 && len(s.PlanWet) > 0:
		c.addf("plan_wet", "is set, but plan is empty: list the shots of a unit at the other stages too")
	}
	s.validateSteps(c, "plan", s.Plan, names)
	s.validateSteps(c, "plan_wet", s.PlanWet, names)
}

func (s Station) validateSteps(c *checks, plan string, steps []PlanStep, names []string) {
	seen := map[string]bool{}
	for i, p := range steps {
		key := fmt.Sprintf("%s[%d]", plan, i)
		s.validateStep(c, key, p)
		switch {
		case p.Camera == "" && len(names) != 1:
			c.addf(key+".camera", "is missing: there are %d cameras", len(names))
		case p.Camera != "" && !slices.Contains(names, p.Camera):
			*c = append(*c, &grade.KeyError{Key: key + ".camera", What: fmt.Sprintf("there is no camera %q", p.Camera), Word: p.Camera,
				Words: names})
		}
		if at := p.shot(); seen[at] {
			c.addf(key, "this shot is there twice")
		} else {
			seen[at] = true
		}
	}
}

// shot is what two steps may not have in common. An edge picture's light is not in its
// name; a shell without a turn is turn 0; the short set's pictures are in the full one.
func (p PlanStep) shot() string {
	turn := 0.0
	if p.AngleDeg != nil {
		turn = *p.AngleDeg
	}
	switch p.View {
	case string(part.Edge):
		return fmt.Sprintf("edge %g", turn)
	case string(part.Shell):
		turn = math.Mod(math.Mod(turn, 360)+360, 360)
	}
	light := p.Light
	if light == ScreenLight6 {
		light = ScreenLight
	}
	return fmt.Sprintf("%s %s %g", p.View, light, turn)
}

func (s Station) validateStep(c *checks, key string, p PlanStep) {
	c.word(key+".view", p.View, views...)
	c.word(key+".place", p.Place, "", "hand")
	c.between(key+".settle_ms", p.SettleMS, 0, 10000)
	edge := p.View == string(part.Edge)
	switch {
	case edge && p.AngleDeg == nil:
		c.addf(key+".angle_deg", "is missing: an edge shot needs the unit's turn")
	case p.AngleDeg != nil && p.View == string(part.Face):
		c.addf(key+".angle_deg", "is for edge and shell shots only")
	case p.AngleDeg != nil:
		c.between(key+".angle_deg", *p.AngleDeg, -360, 360)
	}
	if edge {
		c.word(key+".light", p.Light, append([]string{""}, rigLights...)...)
	} else {
		c.word(key+".light", p.Light, append(slices.Clone(rigLights), ScreenLight, ScreenLight6)...)
	}
	if s.Rig.Device != "" && slices.Contains(rigLights, p.Light) &&
		!slices.ContainsFunc(s.Rig.Lights, func(l RigLight) bool { return l.Light == p.Light }) {
		c.addf(key+".light", "rig.lights has no %s", p.Light)
	}
}
