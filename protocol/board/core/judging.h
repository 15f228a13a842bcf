/* What the board thinks of a command before it does anything, in the order of protocol/SPEC.md section 5. */
#ifndef FULLTURN_JUDGING_H
#define FULLTURN_JUDGING_H

#include "board.h"

/* NOT_REFUSED when it may be carried out. The command id has been compared with the last one before. */
enum reason judging_refusal(const struct board *board, const struct request *request, uint8_t inputs);

#endif
