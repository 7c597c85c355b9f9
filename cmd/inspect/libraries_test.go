package main

import (
	"debug/elf"
	"os"
	"slices"
	"strings"
	"testing"
)

// TestNeededLibraries: the program names only the shared libraries it calls. One
// more can bring a hundred: OpenCV's imgcodecs brings 110 on Debian 12, and 0.2
// s at each start. This test's program is linked as the command is.
func TestNeededLibraries(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	f, err := elf.Open(self)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	needed, err := f.ImportedLibraries()
	if err != nil {
		t.Fatal(err)
	}
	known := []string{"libopencv_core", "libopencv_imgproc", "libopencv_calib3d", "libjpeg", "libpng16", "libstdc++", "libgcc_s", "libm",
		"libc", "ld-linux-x86-64", "ld-linux-aarch64"}
	for _, l := range needed {
		if name, _, _ := strings.Cut(l, ".so"); !slices.Contains(known, name) {
			t.Errorf("the program needs %s, which it need not (%v): was it built without the Makefile's flags, or is a function of it "+
				"called?", l, needed)
		}
	}
	if len(needed) < 5 {
		t.Errorf("only %v are needed: not this program", needed)
	}
}
