/* What the two host programs share: inputs that are typed in place of wired. */
#ifndef LEAT_SHELL_H
#define LEAT_SHELL_H

#include <string.h>

#include "leat_node.h"

/* Set an input by name; false = there is none called so. */
static inline bool shell_input(struct leat_inputs *in, const char *name, bool state) {
    if (strcmp(name, "stop") == 0) {
        in->stop_pressed = state;
    } else if (strcmp(name, "float") == 0) {
        in->float_lifted = state;
    } else if (strcmp(name, "supply") == 0) {
        in->supply_by_hand = state;
    } else {
        return false;
    }
    return true;
}

#endif
