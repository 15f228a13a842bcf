/* Checks of a command before the board does anything, in the order of protocol/SPEC.md section 5. */
#ifndef FULLTURN_JUDGING_H
#define FULLTURN_JUDGING_H

#include "board.h"

/* NOT_REFUSED if the command may be executed. Its id has already been compared with the last one. */
enum reason judging_refusal(const struct board *board, const struct request *request, uint8_t inputs);

#endif
