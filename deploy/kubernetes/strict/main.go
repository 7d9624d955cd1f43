// Command strict reads documents of Kubernetes into its own published types and takes no field that they do not have:
//
//	go -C deploy/kubernetes/strict run . ../leat.yml
//
// It is a module of its own: whoever builds leat needs none of it.
package main

import (
	"bytes"
	"fmt"
	"os"

	apps "k8s.io/api/apps/v1"
	core "k8s.io/api/core/v1"
	networking "k8s.io/api/networking/v1"
	"sigs.k8s.io/yaml"
)

func main() {
	text, err := os.ReadFile(os.Args[1])
	for _, document := range bytes.Split(text, []byte("\n---\n")) {
		var is struct{ Kind string }
		if err == nil {
			err = yaml.Unmarshal(document, &is)
		}
		into, known := map[string]any{"Deployment": &apps.Deployment{}, "Service": &core.Service{}, "PersistentVolumeClaim": &core.PersistentVolumeClaim{},
			"NetworkPolicy": &networking.NetworkPolicy{}}[is.Kind]
		if err == nil && !known {
			err = fmt.Errorf("no kind %q", is.Kind)
		}
		if err == nil {
			err = yaml.UnmarshalStrict(document, into)
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, is.Kind, err)
			os.Exit(1)
		}
		fmt.Println(is.Kind, "is sound")
	}
}
