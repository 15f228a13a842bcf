#include "indexing.h"

#include <string.h>

#include "axis.h"
#include "board.h"
#include "hal.h"

static const uint8_t FLAGS[AXES] = {INPUT_PAN_FLAG, INPUT_TILT_FLAG};
static const uint8_t SWITCHES[AXES] = {FITTED_PAN_SWITCH, FITTED_TILT_SWITCH};

struct edge indexing_edges[AXES];
static struct {
    bool on, up; /* the last state of the flag; the direction of the axis */
} watched[AXES];

void indexing_start(void)
{
    memset(indexing_edges, 0, sizeof indexing_edges);
    memset(watched, 0, sizeof watched);
}

static void watch(uint8_t name)
{
    axis_watch(name, watched[name].on ? WATCH_OFF : WATCH_ON);
}

void indexing_begin(uint8_t name, bool up)
{
    if (!(board.fitted & SWITCHES[name]))
        return;
    watched[name].on = (hal_inputs() & FLAGS[name]) != 0;
    watched[name].up = up;
    watch(name);
}

void indexing_update(void)
{
    for (uint8_t name = 0; name < AXES; name++) {
        int32_t at;
        if (!(board.fitted & SWITCHES[name]) || !axis_edge(name, &at))
            continue;
        watched[name].on = !watched[name].on;
        indexing_edges[name].count++;
        indexing_edges[name].at = at;
        indexing_edges[name].how =
            (uint8_t)((watched[name].up ? EDGE_UPWARD : 0) | (watched[name].on ? EDGE_ON : 0));
        watch(name);
    }
}
