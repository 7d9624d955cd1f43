package app

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"leat/controller"
)

// Ask sends a request of this machine to the daemon of a state folder, over its local
// socket.
func Ask(folder string, form url.Values) (controller.Answer, error) {
	socket := filepath.Join(folder, SocketName)
	client := http.Client{Timeout: 15 * time.Second, Transport: &http.Transport{
		DisableKeepAlives: true,
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			var d net.Dialer
			return d.DialContext(ctx, "unix", socket)
		}}}
	response, err := client.PostForm("http://leat/ask", form)
	if err != nil {
		if _, missing := os.Stat(socket); missing != nil {
			return controller.Answer{}, fmt.Errorf("no daemon runs on %s; start it with leat run, or name with -state the folder that it uses", folder)
		}
		return controller.Answer{}, fmt.Errorf("the daemon on %s does not answer: %w", folder, err)
	}
	defer response.Body.Close()
	text, err := io.ReadAll(io.LimitReader(response.Body, 1<<20))
	if err != nil {
		return controller.Answer{}, err
	}
	if response.StatusCode != http.StatusOK {
		return controller.Answer{}, fmt.Errorf("%s", strings.TrimSpace(string(text)))
	}
	var answer controller.Answer
	err = json.Unmarshal(text, &answer)
	return answer, err
}
