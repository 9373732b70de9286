"""A board as drawn: netlists read, parts recognised, drawn compared with meant.

    board = read_board(Path("my-pad.net"), {})       # parts, and which pin is on which net
    drawn = recognise(board, table)                  # register, contacts, pull-ups … as a table
    judge_board(drawn, sheet)                        # findings board.*

Formats are told apart by what the file holds: an s-expression netlist, IPC-D-356 or IPC-D-356A,
or a SPICE netlist.
"""
