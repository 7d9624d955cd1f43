/*
 * The node in a time that is told to it: commands come in lines on stdin, what the
 * node does goes out in lines on stdout. For tests, which play an hour in a moment.
 *
 *   shell_lines OUTLET PUMP=LONGEST_MS,HOURLY_UL ...
 *
 *   rule N                  leave rule N out (enum leat_rule), where it was built so
 *   start BOOT NOW          power comes; what was kept before is still there
 *   link NOW                the link opens
 *   input NAME 0|1          stop, float or supply
 *   order NOW PUMP RETAINED HEX   a message, its body in hexadecimal; so lease, stop and supply
 *   until NOW               steps of 10 ms until then, or until something goes out
 *
 * Each is answered by what goes out, "report PUMP HEX", "beat HEX", "pump PUMP 0|1"
 * or "cut", and then by "ok NOW".
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "shell.h"

#ifdef LEAT_VARIANTS
enum leat_rule leat_without = LEAT_ALL_RULES;
#endif

static struct leat_node node;
static struct leat_pump pumps[LEAT_MOST_PUMPS];
static char names[LEAT_MOST_PUMPS][32];
static size_t count;
static const char *outlet;
static struct leat_inputs in;
static struct leat_record flash;
static char boot[17];
static uint64_t now;
static bool out;

static void hex(const char *body, size_t length) {
    for (size_t i = 0; i < length; i++) {
        printf("%02x", (unsigned)(unsigned char)body[i]);
    }
    printf("\n");
    out = true;
}

static void pump_port(void *self, size_t pump, bool on) {
    (void)self;
    printf("pump %zu %d\n", pump, on ? 1 : 0);
}

static void outlet_port(void *self, const char *name, size_t length) {
    (void)self;
    in.outlet_open = name != NULL && length == strlen(outlet) && memcmp(name, outlet, length) == 0;
}

static void cut_port(void *self) {
    (void)self;
    printf("cut\n");
}

static bool keep_port(void *self, const struct leat_record *record) {
    (void)self;
    flash = *record;
    return true;
}

static void report_port(void *self, size_t pump, const char *body, size_t length) {
    (void)self;
    printf("report %zu ", pump);
    hex(body, length);
}

static void beat_port(void *self, const char *body, size_t length) {
    (void)self;
    printf("beat ");
    hex(body, length);
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

/* The body that stands in hexadecimal in the text, in its place. */
static size_t unhex(char *text) {
    size_t n = 0;
    for (; text[2u * n] != '\0' && text[2u * n + 1u] != '\0'; n++) {
        char pair[3] = {text[2u * n], text[2u * n + 1u], '\0'};
        text[n] = (char)strtoul(pair, NULL, 16);
    }
    return n;
}

static void run_until(uint64_t until) {
    out = false;
    while (!out && now < until) {
        now += 10u;
        leat_node_step(&node, now, &in);
    }
}

static bool obey(char *line) {
    static char word[2u * LEAT_LONGEST_BODY + 16u];
    unsigned rule = 0;
    unsigned state = 0;
    size_t pump = 0;
    word[0] = '\0';
    if (sscanf(line, "rule %u", &rule) == 1) {
#ifdef LEAT_VARIANTS
        leat_without = (enum leat_rule)rule;
        return true;
#else
        return rule == 0u;
#endif
    }
    if (sscanf(line, "start %16s %" SCNu64, boot, &now) == 2) {
        leat_node_start(&node, pumps, count, &ports, boot, &flash, now);
        return true;
    }
    if (sscanf(line, "link %" SCNu64, &now) == 1) {
        leat_node_connected(&node, now);
        return true;
    }
    if (sscanf(line, "input %15s %u", word, &state) == 2) {
        return shell_input(&in, word, state != 0u);
    }
    if (sscanf(line, "order %" SCNu64 " %zu %u %131072s", &now, &pump, &state, word) >= 3) {
        leat_node_order(&node, now, pump, state != 0u, word, unhex(word));
        return true;
    }
    if (sscanf(line, "lease %" SCNu64 " %u %131072s", &now, &state, word) >= 2) {
        leat_node_lease(&node, now, state != 0u, word, unhex(word));
        return true;
    }
    if (sscanf(line, "stop %" SCNu64 " %131072s", &now, word) >= 1) {
        leat_node_stop(&node, now, word, unhex(word));
        return true;
    }
    if (sscanf(line, "supply %" SCNu64, &now) == 1) {
        leat_node_supply(&node, now);
        return true;
    }
    uint64_t until = 0;
    if (sscanf(line, "until %" SCNu64, &until) == 1) {
        run_until(until);
        return true;
    }
    return false;
}

int main(int argc, char **argv) {
    static char line[2u * LEAT_LONGEST_BODY + 64u];
    if (argc < 3) {
        fprintf(stderr, "usage: shell_lines OUTLET PUMP=LONGEST_MS,HOURLY_UL ...\n");
        return 2;
    }
    outlet = argv[1];
    for (int i = 2; i < argc && count < LEAT_MOST_PUMPS; i++, count++) {
        struct leat_pump *p = &pumps[count];
        if (sscanf(argv[i], "%31[^=]=%" SCNu32 ",%" SCNu32, names[count], &p->longest_run_ms, &p->hourly_ul) != 3) {
            fprintf(stderr, "shell_lines: %s: want PUMP=LONGEST_MS,HOURLY_UL\n", argv[i]);
            return 2;
        }
    }
    while (fgets(line, sizeof line, stdin) != NULL) {
        if (!obey(line)) {
            fprintf(stderr, "shell_lines: cannot read %s", line);
            return 1;
        }
        printf("ok %" PRIu64 "\n", now);
        if (fflush(stdout) != 0) {
            return 1;
        }
    }
    return 0;
}
