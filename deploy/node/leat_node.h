/*
 * A pump node of leat as a state machine: the contract of deploy/node.md, rule by
 * rule. It allocates nothing, knows no clock and touches no pin: time, inputs and
 * messages come in as arguments, pins, memory and messages go out through
 * leat_ports. Call everything from one thread, and leat_node_step at least every
 * 20 ms.
 */
#ifndef LEAT_NODE_H
#define LEAT_NODE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define LEAT_LEASE_MS 10000u       /* a lease holds this long */
#define LEAT_BEAT_MS 2000u         /* a heartbeat comes this often */
#define LEAT_OUTLET_MS 5000u       /* an outlet may take this long to open */
#define LEAT_EPOCH_ROOM 100u       /* the highest epoch may rise by this much ... */
#define LEAT_EPOCH_WINDOW_MS 600000u /* ... in this time */
#define LEAT_FIRST_EPOCH 2147483648u /* the highest that a node takes as its first */
#define LEAT_LONGEST_BODY 65536u   /* bytes of a message */
#define LEAT_LONGEST_RUN_MS 86400000u
#define LEAT_MOST_PUMPS 8u
#define LEAT_SLOTS 13u             /* the hour in slots of five minutes, and the present one */
#define LEAT_SLOT_MS 300000u
#define LEAT_WORD_BYTES 256u       /* room for any report or heartbeat */

/* Rules that can be left out to see which check of leat prove notices. A node that
 * drives a pump is built with all of them. */
enum leat_rule {
    LEAT_ALL_RULES,
    LEAT_RULE_END,        /* a run ends by the node's own clock */
    LEAT_RULE_BEAT,       /* a heartbeat every two seconds */
    LEAT_RULE_LEASE,      /* no order without a lease */
    LEAT_RULE_LAPSE,      /* a run ends when the lease lapses */
    LEAT_RULE_REPEAT,     /* a repeated order never runs again */
    LEAT_RULE_OLD,        /* nor one with a lower number */
    LEAT_RULE_LATE,       /* nor one that is too late */
    LEAT_RULE_BOOT,       /* nor one for another boot */
    LEAT_RULE_RETAINED,   /* nor one that the broker kept */
    LEAT_RULE_COMPLETE,   /* nor one that lacks a field */
    LEAT_RULE_BUSY,       /* nor a second one at the same time */
    LEAT_RULE_LENGTH,     /* nor one longer than the pump's own limit */
    LEAT_RULE_HOURLY,     /* nor one above the pump's hourly limit */
    LEAT_RULE_OUTLET,     /* nor one whose outlet does not open */
    LEAT_RULE_EPOCH,      /* nor one of an older epoch */
    LEAT_RULE_AHEAD,      /* nor one of an epoch too far ahead */
    LEAT_RULE_STOP,       /* a stop ends a run */
    LEAT_RULE_UNREAD,     /* so does a stop that cannot be read */
    LEAT_RULE_SUPPLY,     /* nothing runs once the supply was cut */
    LEAT_RULE_STOP_INPUT, /* nothing runs while the stop is pressed */
    LEAT_RULE_FLOAT,      /* nothing runs while the float switch is lifted */
    LEAT_RULE_OFF,        /* after a boot the pumps stay off */
    LEAT_RULE_MEMORY      /* what was taken is remembered through a reboot */
};

enum leat_phase { LEAT_NONE, LEAT_ACCEPTED, LEAT_RUNNING, LEAT_DONE, LEAT_STOPPED, LEAT_REFUSED };

enum leat_cause {
    LEAT_NO_CAUSE,
    LEAT_CAUSE_RETAINED,
    LEAT_CAUSE_UNREADABLE,
    LEAT_CAUSE_EPOCH,
    LEAT_CAUSE_AHEAD,
    LEAT_CAUSE_OLD,
    LEAT_CAUSE_BOOT,
    LEAT_CAUSE_LATE,
    LEAT_CAUSE_BUSY,
    LEAT_CAUSE_LEASE,
    LEAT_CAUSE_SUPPLY,
    LEAT_CAUSE_STOP_INPUT,
    LEAT_CAUSE_FLOAT,
    LEAT_CAUSE_NOTHING,
    LEAT_CAUSE_LENGTH,
    LEAT_CAUSE_HOURLY,
    LEAT_CAUSE_OUTLET,
    LEAT_CAUSE_MEMORY,
    LEAT_CAUSE_STOP,
    LEAT_CAUSE_LAPSE,
    LEAT_CAUSE_POWER
};

/* The node's word on one order. */
struct leat_word {
    uint32_t epoch;
    uint32_t number;
    enum leat_phase phase;
    enum leat_cause cause;
    uint32_t run_ms;
    uint32_t volume_ul;
    uint32_t pump;
};

/* What outlives a loss of power. Zero bytes are a node that knows nothing. */
struct leat_record {
    uint32_t epoch;        /* the highest that was seen */
    struct leat_word last; /* the order that was taken last; epoch 0 = none */
    bool supply_cut;
};

/* What a pump is allowed, whatever an order says. */
struct leat_pump {
    uint32_t longest_run_ms;
    uint32_t hourly_ul;
};

struct leat_ports {
    void *self; /* handed to each of them */
    /* Switch one pump. Off must work at any time. */
    void (*pump)(void *self, size_t pump, bool on);
    /* Name an outlet's valve, or close all with a length of 0. */
    void (*outlet)(void *self, const char *name, size_t length);
    /* Open the second contactor, where one is fitted. */
    void (*cut)(void *self);
    /* Keep the record through a loss of power; true once it is safely kept. */
    bool (*keep)(void *self, const struct leat_record *record);
    /* Send a report of a pump, QoS 1, not retained. */
    void (*report)(void *self, size_t pump, const char *body, size_t length);
    /* Send a heartbeat, QoS 0, not retained. */
    void (*beat)(void *self, const char *body, size_t length);
    /* The pump of this name, or LEAT_MOST_PUMPS where none is called so. */
    size_t (*named)(void *self, const char *name, size_t length);
};

/* The state of the inputs at the time of a step. Wire each so that a broken wire
 * reads as the state in which nothing runs. */
struct leat_inputs {
    bool outlet_open;    /* the end switch of the outlet that was named */
    bool stop_pressed;   /* the wired stop is open */
    bool float_lifted;   /* the float switch has cut the pumps */
    bool supply_by_hand; /* the button that closes the second contactor is pressed */
};

/* An order under way. */
struct leat_order {
    uint32_t epoch;
    uint32_t number;
    size_t pump;
    uint32_t run_ms;
    uint32_t volume_ul;
    uint64_t before_ms; /* of the node's tick */
    const char *boot;
    size_t boot_length;
    const char *outlet;
    size_t outlet_length;
};

enum leat_state { LEAT_IDLE, LEAT_OPENING, LEAT_PUMPING };

struct leat_node {
    const struct leat_pump *pumps;
    size_t count;
    const struct leat_ports *ports;
    const char *boot;
    uint64_t born;  /* when it booted */
    uint64_t now;   /* of the last call */
    struct leat_record record;
    struct leat_inputs in;
    enum leat_state state;
    struct leat_order order; /* while not idle; its texts are not kept */
    uint64_t since;          /* when the outlet was named, or the pump switched on */
    bool leased;
    uint32_t lease_epoch;
    uint64_t lease_beat;
    uint64_t lease_at;
    uint32_t room_from; /* the highest epoch when the present ten minutes began */
    uint64_t room_at;
    uint64_t beat_at;
    uint64_t slot; /* number of the present slot */
    uint32_t spent_ul[LEAT_MOST_PUMPS][LEAT_SLOTS];
};

/* Begin after power came or the watchdog bit. boot is a text of 8 random letters or
 * digits, drawn anew each time, that stays in place. kept is what ports->keep was
 * given last; NULL for a node that is new or was reset by hand. All pumps are
 * switched off. */
void leat_node_start(struct leat_node *node, const struct leat_pump *pumps, size_t count,
                     const struct leat_ports *ports, const char *boot,
                     const struct leat_record *kept, uint64_t now_ms);

/* The link to the broker has opened: the last report is said again. */
void leat_node_connected(struct leat_node *node, uint64_t now_ms);

/* Messages, with the retained flag where it matters. */
void leat_node_order(struct leat_node *node, uint64_t now_ms, size_t pump, bool retained, const char *body, size_t length);
void leat_node_lease(struct leat_node *node, uint64_t now_ms, bool retained, const char *body, size_t length);
void leat_node_stop(struct leat_node *node, uint64_t now_ms, const char *body, size_t length);
void leat_node_supply(struct leat_node *node, uint64_t now_ms);

/* Time has passed: runs end, heartbeats go out. */
void leat_node_step(struct leat_node *node, uint64_t now_ms, const struct leat_inputs *in);

#endif
