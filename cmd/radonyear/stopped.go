package main

import (
	"os"
	"os/signal"
	"syscall"

	"radonyear/ingest"
)

// endWhenStopped ends the program at an interrupt or a request to end, without
// the files it had not finished, and with the status a shell gives for the
// signal. A signal the caller told the program to ignore stays ignored.
func endWhenStopped() {
	stop := make(chan os.Signal, 1)
	for _, s := range []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGHUP} {
		if !signal.Ignored(s) {
			signal.Notify(stop, s)
		}
	}
	go func() {
		s := <-stop
		ingest.Abandon()
		status := exitNoAnswer
		if n, ok := s.(syscall.Signal); ok {
			status = 128 + int(n)
		}
		os.Exit(status)
	}()
}
