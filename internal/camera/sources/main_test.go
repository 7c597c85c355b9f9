package sources

import (
	"fmt"
	"os"
	"strconv"
	"testing"
	"time"
)

// TestMain lets the test's own program play a camera's child.
func TestMain(m *testing.M) {
	if len(os.Args) > 2 && os.Args[1] == "play-camera" {
		playCamera(os.Args[2])
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// played is the command of a child that behaves in a certain way; its frames are
// 32 x 16.
func played(how string) []string { return []string{os.Args[0], "play-camera", how} }

func playCamera(how string) {
	out := os.NewFile(childFD, "frames")
	size := 32 * 16 * 3
	if os.Getenv("PLAYED_SIZE") != "" {
		size, _ = strconv.Atoi(os.Getenv("PLAYED_SIZE"))
	}
	frame := make([]byte, size)
	for n := byte(1); ; n++ {
		switch {
		case how == "silent" && n == 4:
			time.Sleep(time.Hour)
		case how == "crash" && n == 4:
			fmt.Fprintln(os.Stderr, "ERROR: from element /GstPipeline:pipeline0/GstX:x0: Camera fell off.")
			fmt.Fprintln(os.Stderr, "Additional debug info:\n../a/b.c(12): f ():\nthe plug is loose")
			fmt.Fprintln(os.Stderr, "ERROR: pipeline doesn't want to preroll.")
			os.Exit(1)
		case how == "torn" && n == 4:
			_, _ = out.Write(frame[:100])
			os.Exit(7)
		case how == "never":
			time.Sleep(time.Hour)
		case how == "frozen" && n > 3:
			n = 3
		}
		for i := range frame {
			frame[i] = n
		}
		frame[size-1] = 255
		if how == "dark" {
			clear(frame)
		}
		if _, err := out.Write(frame); err != nil {
			os.Exit(0)
		}
		time.Sleep(10 * time.Millisecond)
	}
}
