package photo

import (
	"testing"

	"gocv.io/x/gocv"
)

// What opening a 12-megapixel photo costs beside OpenCV's decoding of it,
// which BenchmarkOpenCV measures alone.
func BenchmarkDecode(b *testing.B) {
	data := benchJPEG(b)
	for b.Loop() {
		p, err := Decode("bench", data)
		if err != nil {
			b.Fatal(err)
		}
		p.Close()
	}
}

func BenchmarkOpenCV(b *testing.B) {
	data := benchJPEG(b)
	for b.Loop() {
		m, err := decodeOpenCV(data, gocv.IMReadColor, gocv.MatTypeCV8UC3)
		if err != nil {
			b.Fatal(err)
		}
		m.Close()
	}
}

func benchJPEG(b *testing.B) []byte {
	data := encodeJPEG(b, noise(4000, 3000))
	b.SetBytes(int64(len(data)))
	b.ResetTimer()
	return data
}
