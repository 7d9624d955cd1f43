/*
 * The node as a client of a broker, on a computer and without a pump: to try
 * leat prove before a soldering iron is warm, and to show how the machine is joined
 * to a link, a memory and pins. It needs libmosquitto.
 *
 *   shell_mqtt HOST PORT PREFIX/STATION NODE MEMORY OUTLET PUMP=LONGEST_MS,HOURLY_UL ...
 *
 * MEMORY is a file that outlives the program; without it the node is new. Inputs are
 * typed: "stop 1", "float 1", "supply 1". What the pins would do is printed. MQTT_USER
 * and MQTT_PASSWORD in the environment sign it in.
 */
#define _POSIX_C_SOURCE 200809L
#include <inttypes.h>
#include <mosquitto.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "shell.h"

static struct leat_node node;
static struct leat_pump pumps[LEAT_MOST_PUMPS];
static char names[LEAT_MOST_PUMPS][32];
static size_t count;
static const char *station;
static const char *memory;
static const char *outlet;
static struct leat_inputs in;
static struct mosquitto *link_;
static char node_topic[256];
static char online_topic[256]; /* retained: 1 said here, 0 by the broker when this program is gone */

static uint64_t uptime_ms(void) {
    struct timespec t;
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (uint64_t)t.tv_sec * 1000u + (uint64_t)t.tv_nsec / 1000000u;
}

static void pump_port(void *self, size_t pump, bool on) {
    (void)self;
    printf("pump %s %s\n", names[pump], on ? "on" : "off");
}

static void outlet_port(void *self, const char *name, size_t length) {
    (void)self;
    in.outlet_open = name != NULL && length == strlen(outlet) && memcmp(name, outlet, length) == 0;
}

static void cut_port(void *self) {
    (void)self;
    printf("dosing supply cut\n");
}

/* Whole or not at all: a new file takes the place of the old one when it is on the disk. */
static bool keep_port(void *self, const struct leat_record *record) {
    char unfinished[512];
    (void)self;
    if (snprintf(unfinished, sizeof unfinished, "%s.unfinished", memory) >= (int)sizeof unfinished) {
        return false;
    }
    FILE *f = fopen(unfinished, "wb");
    if (f == NULL) {
        return false;
    }
    bool written = fwrite(record, sizeof *record, 1, f) == 1 && fflush(f) == 0 && fsync(fileno(f)) == 0;
    return fclose(f) == 0 && written && rename(unfinished, memory) == 0;
}

static void report_port(void *self, size_t pump, const char *body, size_t length) {
    char topic[256];
    (void)self;
    (void)snprintf(topic, sizeof topic, "%s/report/%s", station, names[pump]);
    (void)mosquitto_publish(link_, NULL, topic, (int)length, body, 1, false);
}

static void beat_port(void *self, const char *body, size_t length) {
    (void)self;
    (void)mosquitto_publish(link_, NULL, node_topic, (int)length, body, 0, false);
}

static size_t named_port(void *self, const char *name, size_t length) {
    (void)self;
    for (size_t p = 0; p < count; p++) {
        if (length == strlen(names[p]) && memcmp(name, names[p], length) == 0) {
            return p;
        }
    }
    return LEAT_MOST_PUMPS;
}

static const struct leat_ports ports = {NULL,      pump_port,   outlet_port, cut_port,
                                        keep_port, report_port, beat_port,   named_port};

/* What stands behind the station in a topic. */
static const char *of_station(const char *topic) {
    size_t length = strlen(station);
    return strncmp(topic, station, length) == 0 && topic[length] == '/' ? topic + length + 1 : "";
}

static void on_message(struct mosquitto *m, void *self, const struct mosquitto_message *message) {
    const char *rest = of_station(message->topic);
    const char *body = message->payloadlen > 0 ? message->payload : "";
    size_t length = (size_t)message->payloadlen;
    (void)m;
    (void)self;
    if (strcmp(rest, "lease") == 0) {
        leat_node_lease(&node, uptime_ms(), message->retain, body, length);
    } else if (strcmp(rest, "stop") == 0) {
        leat_node_stop(&node, uptime_ms(), body, length);
    } else if (strcmp(rest, "supply") == 0) {
        leat_node_supply(&node, uptime_ms());
    } else if (strncmp(rest, "order/", 6) == 0) {
        leat_node_order(&node, uptime_ms(), named_port(NULL, rest + 6, strlen(rest + 6)), message->retain, body, length);
    }
}

static void subscribe(const char *what, const char *name) {
    char topic[256];
    (void)snprintf(topic, sizeof topic, "%s/%s%s", station, what, name);
    (void)mosquitto_subscribe(link_, NULL, topic, 1);
}

static void on_connect(struct mosquitto *m, void *self, int result) {
    (void)m;
    (void)self;
    if (result != 0) {
        return;
    }
    for (size_t p = 0; p < count; p++) {
        subscribe("order/", names[p]);
    }
    subscribe("lease", "");
    subscribe("stop", "");
    subscribe("supply", "");
    (void)mosquitto_publish(link_, NULL, online_topic, 1, "1", 1, true);
    leat_node_connected(&node, uptime_ms());
}

/* Inputs are typed. false = there is nobody to type any more. */
static bool typed(void) {
    struct pollfd input = {STDIN_FILENO, POLLIN, 0};
    char line[64];
    char name[16];
    unsigned state = 0;
    if (poll(&input, 1, 0) <= 0) {
        return true;
    }
    if (fgets(line, sizeof line, stdin) == NULL) {
        return false;
    }
    if (sscanf(line, "%15s %u", name, &state) != 2 || !shell_input(&in, name, state != 0u)) {
        fprintf(stderr, "shell_mqtt: type stop, float or supply, and 0 or 1\n");
    }
    return true;
}

static bool setup(int argc, char **argv) {
    if (argc < 8) {
        fprintf(stderr, "usage: shell_mqtt HOST PORT PREFIX/STATION NODE MEMORY OUTLET PUMP=LONGEST_MS,HOURLY_UL ...\n");
        return false;
    }
    station = argv[3];
    memory = argv[5];
    outlet = argv[6];
    (void)snprintf(node_topic, sizeof node_topic, "%s/node/%s", station, argv[4]);
    (void)snprintf(online_topic, sizeof online_topic, "%s/node/%s/online", station, argv[4]);
    for (int i = 7; i < argc && count < LEAT_MOST_PUMPS; i++, count++) {
        struct leat_pump *p = &pumps[count];
        if (sscanf(argv[i], "%31[^=]=%" SCNu32 ",%" SCNu32, names[count], &p->longest_run_ms, &p->hourly_ul) != 3) {
            fprintf(stderr, "shell_mqtt: %s: want PUMP=LONGEST_MS,HOURLY_UL\n", argv[i]);
            return false;
        }
    }
    return true;
}

static void power(void) {
    static char boot[9];
    struct leat_record kept;
    uint32_t drawn = 0;
    FILE *f = fopen("/dev/urandom", "rb");
    if (f != NULL) {
        (void)fread(&drawn, sizeof drawn, 1, f);
        (void)fclose(f);
    }
    (void)snprintf(boot, sizeof boot, "%08" PRIx32, drawn);
    f = fopen(memory, "rb");
    bool known = f != NULL && fread(&kept, sizeof kept, 1, f) == 1;
    if (f != NULL) {
        (void)fclose(f);
    }
    leat_node_start(&node, pumps, count, &ports, boot, known ? &kept : NULL, uptime_ms());
}

int main(int argc, char **argv) {
    if (!setup(argc, argv)) {
        return 2;
    }
    (void)setvbuf(stdout, NULL, _IOLBF, 0);
    (void)setvbuf(stdin, NULL, _IONBF, 0); /* poll must see what is still to be read */
    (void)mosquitto_lib_init();
    link_ = mosquitto_new(argv[4], true, NULL); /* a clean session: the broker keeps nothing */
    if (link_ == NULL) {
        return 1;
    }
    if (getenv("MQTT_USER") != NULL) {
        (void)mosquitto_username_pw_set(link_, getenv("MQTT_USER"), getenv("MQTT_PASSWORD"));
    }
    (void)mosquitto_will_set(link_, online_topic, 1, "0", 1, true);
    mosquitto_connect_callback_set(link_, on_connect);
    mosquitto_message_callback_set(link_, on_message);
    power();
    int lost = mosquitto_connect(link_, argv[1], atoi(argv[2]), 10);
    uint64_t tried = uptime_ms();
    while (typed()) {
        leat_node_step(&node, uptime_ms(), &in);
        if (lost == MOSQ_ERR_SUCCESS) {
            lost = mosquitto_loop(link_, 10, 1);
            continue;
        }
        struct timespec pause = {0, 10000000};
        (void)nanosleep(&pause, NULL);
        if (uptime_ms() - tried >= 1000u) {
            tried = uptime_ms();
            lost = mosquitto_reconnect(link_);
        }
    }
    (void)mosquitto_disconnect(link_);
    mosquitto_destroy(link_);
    return 0;
}
