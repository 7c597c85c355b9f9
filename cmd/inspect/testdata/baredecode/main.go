// Baredecode prints how many milliseconds OpenCV takes to decode the pictures
// named, one after the other, in one thread. It is what the program's speed is
// held against, and must stay free of the program's own tuning.
package main

import (
	"fmt"
	"os"
	"time"

	"gocv.io/x/gocv"
)

func main() {
	gocv.SetNumThreads(1)
	start := time.Now()
	for _, f := range os.Args[1:] {
		m := gocv.IMRead(f, gocv.IMReadColor)
		if m.Empty() {
			fmt.Fprintln(os.Stderr, f, "was not read")
			os.Exit(1)
		}
		m.Close()
	}
	fmt.Println(float64(time.Since(start)) / float64(time.Millisecond))
}
