package config

import (
	"testing"

	"leat/deploy"
)

func BenchmarkParseTheSampleFarm(b *testing.B) {
	for b.Loop() {
		if _, err := Parse("leat.toml", deploy.Sample, stranger()); err != nil {
			b.Fatal(err)
		}
	}
}
