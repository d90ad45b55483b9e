package web

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"

	"route/internal/finding"
)

// maxBody bounds what the page may send: places, a tank and a few dozen
// readings fit many times over.
const maxBody = 64 << 10

type refusal struct {
	Code string `json:"code"`
	Text string `json:"text"`
	Hint string `json:"hint"`
}

func refuse(w http.ResponseWriter, status int, code, text, hint string) {
	answer(w, status, map[string]refusal{"error": {code, text, hint}})
}

// fail tells the page of an error in the words of the command line.
func fail(w http.ResponseWriter, err error) {
	var fault *finding.Fault
	if errors.As(err, &fault) {
		refuse(w, http.StatusUnprocessableEntity, fault.Code, fault.Text, fault.Hint)
		return
	}
	if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) {
		refuse(w, http.StatusServiceUnavailable, "busy", "the program is busy with another plan", "wait for it or stop it, then try again")
		return
	}
	refuse(w, http.StatusInternalServerError, "failed", err.Error(), "")
}

func answer(w http.ResponseWriter, status int, value any) {
	text, err := json.Marshal(value)
	if err != nil {
		// Only numbers that are no numbers get here, and the plan has none.
		http.Error(w, `{"error":{"code":"failed","text":"the answer cannot be written","hint":""}}`, http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(text) // a page that has gone needs no answer
}

// read takes one JSON document of known fields and bounded size.
func read(w http.ResponseWriter, r *http.Request, into any) bool {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		refuse(w, http.StatusUnsupportedMediaType, "not_json", "the request is not JSON", "")
		return false
	}
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody))
	d.DisallowUnknownFields()
	err := d.Decode(into)
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		refuse(w, http.StatusRequestEntityTooLarge, "too_large", "the request is too large", "")
		return false
	}
	if err != nil {
		refuse(w, http.StatusBadRequest, "bad_request", "the request cannot be read: "+err.Error(), "")
		return false
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		refuse(w, http.StatusBadRequest, "bad_request", "the request holds more than one document", "")
		return false
	}
	return true
}
