package main

/*
#include <malloc.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <unistd.h>

// One arena that grows in large steps and gives nothing back, in large pages.
static void roomyMalloc(size_t room) {
	mallopt(M_ARENA_MAX, 1);
	mallopt(M_MMAP_THRESHOLD, 32 << 20);
	mallopt(M_TRIM_THRESHOLD, 512 << 20);
	mallopt(M_TOP_PAD, room);
	free(malloc(1 << 20));
	const uintptr_t page = 2 << 20;
	uintptr_t end = (uintptr_t)sbrk(0) & ~(page - 1);
	uintptr_t start = ((uintptr_t)sbrk(0) - room + page - 1) & ~(page - 1);
	if (start < end) madvise((void *)start, end - start, MADV_HUGEPAGE);
	mallopt(M_TOP_PAD, 8 << 20);
}
*/
import "C"

import (
	"runtime"
	"runtime/debug"

	"gocv.io/x/gocv"
	"golang.org/x/sys/unix"
)

const (
	heapRoom   = 192 << 20
	mallocRoom = 64 << 20
)

// tuneMemory sets what holds for the whole process, once, before the first
// picture.
func tuneMemory() {
	gocv.SetNumThreads(1)
	C.roomyMalloc(mallocRoom)
	room := make([]byte, heapRoom)
	_ = unix.Madvise(room, unix.MADV_HUGEPAGE)
	runtime.KeepAlive(room)
	room = nil
	runtime.GC()
	debug.SetGCPercent(100)
	debug.SetMemoryLimit(heapRoom)
}
