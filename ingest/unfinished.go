package ingest

import (
	"os"
	"sync"
)

// unfinished is the files that must not outlive the program: outputs that are
// not whole yet, and copies of streams.
var unfinished = struct {
	sync.Mutex
	paths map[string]bool
}{paths: map[string]bool{}}

// createUnfinished is os.CreateTemp, remembered.
func createUnfinished(dir, pattern string) (*os.File, error) {
	unfinished.Lock()
	defer unfinished.Unlock()
	f, err := os.CreateTemp(dir, pattern)
	if err == nil {
		unfinished.paths[f.Name()] = true
	}
	return f, err
}

// renameUnfinished makes an output of a file that is whole now.
func renameUnfinished(path, as string) error {
	unfinished.Lock()
	defer unfinished.Unlock()
	err := os.Rename(path, as)
	if err == nil {
		delete(unfinished.paths, path)
	}
	return err
}

func removeUnfinished(path string) error {
	unfinished.Lock()
	defer unfinished.Unlock()
	delete(unfinished.paths, path)
	return os.Remove(path)
}

// Abandon removes every file that is not finished: outputs half written, and
// temporary copies of streams. It is for a program that a signal is about to
// end; what still reads or writes waits from then on, for good.
func Abandon() {
	unfinished.Lock() // and never unlocked: nothing is begun or renamed after this
	for path := range unfinished.paths {
		os.Remove(path)
	}
}
