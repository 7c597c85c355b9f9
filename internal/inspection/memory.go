package inspection

/*
#include <malloc.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <unistd.h>

// roomyMalloc makes malloc work from one heap for all threads, which grows in
// large steps, gives nothing back, and lies in large pages for its first 64 MB.
// It runs before the first thread starts: a thread that has a heap of its own
// keeps it.
__attribute__((constructor)) static void roomyMalloc(void) {
	const size_t room = 64 << 20;
	const uintptr_t page = 2 << 20;
	mallopt(M_ARENA_MAX, 1);
	mallopt(M_MMAP_MAX, 0);
	mallopt(M_TRIM_THRESHOLD, 512 << 20);
	mallopt(M_TOP_PAD, room);
	void *volatile grown = malloc(1 << 20); // volatile, lest the compiler drops both
	free(grown);
	mallopt(M_TOP_PAD, 8 << 20);
	uintptr_t end = (uintptr_t)sbrk(0) & ~(page - 1);
	madvise((void *)(end - (room & ~(page - 1))), room, MADV_HUGEPAGE);
}
*/
import "C"

import (
	"runtime"
	"runtime/debug"

	"gocv.io/x/gocv"
	"golang.org/x/sys/unix"
)

// heapRoom is the size, in bytes, near which Go's heap is held. Address space
// only: what is not used is not paid for.
const heapRoom = 160 << 20

// TuneMemory sets what holds for the whole process, once, before the first
// picture. OpenCV works in one thread, since pictures are spread over the cores
// already. The rest is about page faults: a unit's pictures pass through some 300
// MB, and touching fresh memory in 4 KB pages took longer than measuring. So
// both heaps get large pages where the system offers them, and memory that was
// touched once is used again rather than handed back.
func TuneMemory() {
	one := make(chan struct{})
	go func() { // takes some ms: OpenCV starts its scheduler
		defer close(one)
		gocv.SetNumThreads(1)
	}()
	room := make([]byte, heapRoom) // its addresses go back to the heap below
	_ = unix.Madvise(room, unix.MADV_HUGEPAGE)
	runtime.KeepAlive(room)
	runtime.GC()
	debug.SetMemoryLimit(heapRoom)
	<-one
}
