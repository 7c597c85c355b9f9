// Package held tells what this process holds: for tests that nothing leaks. The
// program itself does not use it.
package held

/*
#include <malloc.h>
*/
import "C"

import (
	"fmt"
	"os"
	"runtime"
	"strings"
)

// Held is what a process holds at a moment.
type Held struct {
	Goroutines int
	Files      int    // file handles: files, sockets, pipes
	Children   int    // processes that it started and that are still there
	CHeap      uint64 // bytes that C code has asked for and not given back: an OpenCV Mat's pixels and head among them
	GoHeap     uint64 // bytes of Go's heap that are still reachable
	Resident   uint64 // bytes of memory that it keeps from others
}

// Now collects garbage, so that finalizers and pools do not count, and looks.
func Now() (Held, error) {
	runtime.GC()
	runtime.GC() // what the first one found only because a pool kept it
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	h := Held{Goroutines: runtime.NumGoroutine(), GoHeap: m.HeapAlloc, CHeap: cHeap()}
	var err error
	if h.Files, err = entries("/proc/self/fd"); err != nil {
		return h, err
	}
	h.Files-- // the one that looks
	if h.Children, err = children(); err != nil {
		return h, err
	}
	h.Resident, err = resident()
	return h, err
}

// cHeap counts exactly: what malloc took from the system for single large
// requests, and what is in use of its heaps. Source: mallinfo2(3), glibc 2.33.
func cHeap() uint64 {
	m := C.mallinfo2()
	return uint64(m.uordblks) + uint64(m.hblkhd)
}

func entries(dir string) (int, error) {
	all, err := os.ReadDir(dir)
	return len(all), err
}

// children counts by each thread's own list: a child belongs to the thread that
// started it.
func children() (int, error) {
	threads, err := os.ReadDir("/proc/self/task")
	if err != nil {
		return 0, err
	}
	n := 0
	for _, t := range threads {
		text, err := os.ReadFile("/proc/self/task/" + t.Name() + "/children")
		if os.IsNotExist(err) { // the thread ended since, or the kernel has no such list
			continue
		}
		if err != nil {
			return 0, err
		}
		n += len(strings.Fields(string(text)))
	}
	return n, nil
}

func resident() (uint64, error) {
	text, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		return 0, err
	}
	var all, here uint64
	if _, err := fmt.Sscan(string(text), &all, &here); err != nil {
		return 0, fmt.Errorf("/proc/self/statm: %w", err)
	}
	return here * uint64(os.Getpagesize()), nil
}

func (h Held) String() string {
	return fmt.Sprintf("%d goroutines, %d files, %d children, C heap %.2f MiB, Go heap %.2f MiB, resident %.0f MiB",
		h.Goroutines, h.Files, h.Children, float64(h.CHeap)/(1<<20), float64(h.GoHeap)/(1<<20), float64(h.Resident)/(1<<20))
}
