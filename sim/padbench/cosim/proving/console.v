// A console that does whatever the port's protocol allows, and the register that a pad has to be.
//
// A step is one period of the pad's system clock, or half of it, or if it has none just a step. The
// inputs `want_...` are free; each becomes a level only when the protocol allows it, so every run
// keeps the protocol and no assumption can shut all runs out. `wrong` is high where the data line
// is not what the register shows although the time to answer is over, or where it answers before
// its flip-flops can have let an edge of the clock through. `whole`: a whole read was compared, and
// what follows its last bit.
module padbench_console #(
    parameter STAGES = 8,
    parameter BITS = 8,         // of each count of steps
    parameter RESET = 8, IDLE = 16,                    // steps of reset, and until anything moves
    parameter LATCH_HIGH = 4, LATCH_LOW = 4, CLOCK_LOW = 4, CLOCK_HIGH = 4,    // least lengths
    parameter REMOVAL = 4,      // least time between the latch's fall and a rise of the clock
    parameter SETUP = 2,        // a contact that moved so many steps before the latch falls counts
    parameter HOLD = 2,         // and one so many after it does not; none moves in between
    parameter ANSWER = 3, SEEN = 3,                    // steps to answer an edge, and a contact
    parameter NOT_BEFORE = 2,   // last step after a clock at which the bit before stands, or 0
    parameter POLICY = 0,       // both, neither, newer, older
    parameter RELEASED = 0,     // nothing shows as pressed after the reset
    parameter SERIAL = 0,       // level of the serial input at first
    parameter OPEN = 0,         // the level past the last stage may be any
    parameter DELAY = 2,        // of the register here, less than ANSWER: about that of the design
    parameter COUNTS = 0        // it is a counter that picks a bit: the same, for the engine's sake
) (
    input              want_latch, want_clock, want_serial,
    input  [7:0]       want_held,
    input              data,          // low is pressed
    input  [STAGES-1:0] inputs,       // of the register, made of `passed`
    output             latch, clock, serial, reset,
    output [7:0]       held, passed,  // contacts, and what the policy makes of them: 1 is pressed
    output             wrong, whole, compared
);
    function integer larger(input integer one, input integer other);
        larger = one > other ? one : other;
    endfunction
    localparam LATCH = larger(LATCH_HIGH, LATCH_LOW), CLOCK = larger(CLOCK_LOW, CLOCK_HIGH);
    localparam FALL = larger(REMOVAL, HOLD), MOVE = larger(SETUP, SEEN);
    localparam REASON = larger(ANSWER, NOT_BEFORE + 1);
    reg latch_was = 0, clock_was = 1, serial_was = SERIAL;
    reg [7:0] held_was = 0;
    reg [BITS-1:0] age = 0, latch_for = LATCH, clock_for = CLOCK;
    reg [BITS-1:0] since_fall = FALL, since_rise = REMOVAL, since_move = MOVE;
    reg [BITS-1:0] since_seen = SEEN, since_reason = REASON;
    reg [STAGES-1:0] stages = {STAGES{1'b1}};
    reg valid = RELEASED, steady = 0, compared_was = 0, before = 1;
    reg [6:0] shifts = 0;
    reg [1:0] lead_y = 0, lead_x = 0;

    function [BITS-1:0] more(input [BITS-1:0] count, input [BITS-1:0] most);
        more = count >= most ? most : count + 1'b1;
    endfunction

    // What the console and the fingers may do in this step.
    wire ready = age >= IDLE;
    assign reset = age < RESET;
    wire may_latch = ready && (latch_was
        ? latch_for >= LATCH_HIGH && since_rise >= REMOVAL && since_move >= SETUP
        : latch_for >= LATCH_LOW);
    assign latch = latch_was ^ (may_latch && want_latch);
    wire fall = latch_was && !latch, load = latch && !latch_was;
    wire may_clock = ready && (clock_was
        ? clock_for >= CLOCK_HIGH
        : clock_for >= CLOCK_LOW && since_fall >= REMOVAL && !fall);
    assign clock = clock_was ^ (may_clock && want_clock);
    wire rise = clock && !clock_was, shift = rise && !latch;
    assign serial = load ? want_serial : serial_was;
    wire may_move = ready && since_fall >= HOLD && !(fall && HOLD != 0);
    // With a policy by order no two opposite contacts close in one step.
    wire [3:0] closing = want_held[3:0] & ~held_was[3:0];
    wire [1:0] both = POLICY < 2 ? 2'b00 : {&closing[3:2], &closing[1:0]};
    wire [3:0] barred = {{2{both[1]}}, {2{both[0]}}};
    assign held = held_was ^ ({8{may_move}} & want_held & ~{4'b0, barred});
    wire moved = held != held_was;

    // The policy for opposite directions; lead: which of two was down before the other.
    wire [1:0] y = held[3:2], x = held[1:0];
    wire [1:0] first_y = &y ? lead_y : y, first_x = &x ? lead_x : x;
    function [1:0] kept(input [1:0] pair, input [1:0] first);
        kept = POLICY == 0 || !(&pair) ? pair
            : POLICY == 1 || first == 2'b00 ? 2'b00
            : POLICY == 2 ? ~first : first;
    endfunction
    assign passed = {held[7:4], kept(y, first_y), kept(x, first_x)};

    // The register, behind as many flip-flops as the design is likely to have: once nothing asks
    // for another level it shows the same as one without, and the engine finds the two alike.
    localparam WIDTH = STAGES + 3;
    reg [(DELAY+1)*WIDTH-1:0] line = {DELAY+1{{STAGES{1'b1}}, 3'b100}};
    wire [(DELAY+1)*WIDTH-1:0] lines = {line[DELAY*WIDTH-1:0], inputs, serial, shift, latch};
    wire [STAGES-1:0] late_inputs;
    wire late_latch, late_shift, late_serial;
    assign {late_inputs, late_serial, late_shift, late_latch} = lines[DELAY*WIDTH +: WIDTH];
    wire [STAGES-1:0] next = late_latch ? late_inputs
        : late_shift && !COUNTS ? (stages << 1) | late_serial : stages;
    reg [6:0] late_count = 0;
    wire [6:0] next_count = late_latch ? 7'd0
        : late_shift && late_count < STAGES ? late_count + 7'd1 : late_count;
    reg line_serial = SERIAL;
    wire [BITS-1:0] reason = load || shift ? {BITS{1'b0}} : since_reason;
    wire [BITS-1:0] move = moved ? {BITS{1'b0}} : since_move;
    wire [BITS-1:0] seen = latch ? move : since_seen;
    wire [6:0] count = latch ? 7'd0 : shift && shifts <= STAGES ? shifts + 7'd1 : shifts;
    wire known = (valid || latch) && !(OPEN && count >= STAGES);
    assign compared = ready && known && reason >= ANSWER && seen >= SEEN;
    wire steady_now = latch ? 1'b0 : shift ? compared_was : steady;
    wire [6:0] picked = COUNTS ? STAGES - 1 - late_count : STAGES - 1;
    wire level = COUNTS && late_count >= STAGES ? line_serial : stages[picked];
    wire level_before = shift ? level : before;
    wire early = NOT_BEFORE != 0 && steady_now && reason <= NOT_BEFORE && data != level_before;
    assign wrong = compared && data != level || early;
    assign whole = compared && valid && count > STAGES;

    always @($global_clock) begin
        latch_was <= latch; clock_was <= clock; serial_was <= serial; held_was <= held;
        age <= more(age, IDLE);
        latch_for <= latch == latch_was ? more(latch_for, LATCH) : 1'b1;
        clock_for <= clock == clock_was ? more(clock_for, CLOCK) : 1'b1;
        since_fall <= fall ? 1'b1 : more(since_fall, FALL);
        since_rise <= rise ? 1'b1 : more(since_rise, REMOVAL);
        since_move <= more(move, MOVE);
        since_seen <= more(seen, SEEN);
        since_reason <= more(reason, REASON);
        stages <= next; late_count <= next_count; line_serial <= late_serial; line <= lines;
        valid <= valid || latch;
        steady <= steady_now; compared_was <= compared; before <= level_before;
        shifts <= count;
        lead_y <= first_y; lead_x <= first_x;
    end
endmodule
