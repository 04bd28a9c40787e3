package box

/*
#include <malloc.h>

static void give_back(void) {
#if defined(__GLIBC__)
	// Pixels of a photo come and go by the dozen megabytes. Left to itself,
	// glibc raises this threshold to that size after the first one, and from
	// then on keeps what was freed; held low, each goes back at once.
	mallopt(M_MMAP_THRESHOLD, 1 << 20);
#endif
}
*/
import "C"

// keepMemoryLow makes native memory go back to the system when a photo is
// closed. It is for commands that work through many photos: a folder of any
// size then needs what its workers hold at the time, and no more. Measured on
// 24 photos of 12 megapixels with two workers: 264 MB at the peak against 380.
func keepMemoryLow() { C.give_back() }
