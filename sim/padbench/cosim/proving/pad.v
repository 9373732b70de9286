// The pad that a reader has to serve: contacts that move at any time, and a data line that may have
// any level for ANSWER steps after whatever moves it.
//
// `wrong` is high where the byte offered is not what the pad had loaded when its latch fell, in
// each of the PASSES reads of a poll; where a byte is offered without a read, or twice; and where
// the next poll begins although the byte of this one was not offered. `whole`: a byte was offered.
module padbench_pad #(
    parameter BITS = 8,         // of each count of steps
    parameter RESET = 8, IDLE = 16,     // steps of reset, and until a poll is asked for
    parameter ANSWER = 4, PASSES = 1, SERIAL = 0
) (
    input        want_start, want_noise,
    input  [7:0] want_held,
    input        latch, clock, valid,
    input  [7:0] offered,       // 1 is pressed
    output       start, reset, data,    // low is pressed
    output       wrong, whole
);
    reg [BITS-1:0] age = 0, since = ANSWER;
    reg [7:0] stages = 8'hff, loaded = 0, before = 0;
    reg latch_was = 0, clock_was = 1, valid_was = 0;
    reg [1:0] reads = 0;

    assign reset = age < RESET;
    assign start = age >= IDLE && want_start;
    wire load = latch && !latch_was, fall = !latch && latch_was;
    wire shift = clock && !clock_was && !latch;
    wire moved = shift || latch && (load || stages != ~want_held);
    wire [7:0] now = latch ? ~want_held : shift ? {stages[6:0], SERIAL != 0} : stages;
    wire [BITS-1:0] passed = moved ? {BITS{1'b0}} : since;
    assign data = passed < ANSWER ? want_noise : now[7];

    wire offers = valid && !valid_was && !reset, over = reads == PASSES;
    wire alike = PASSES == 1 || loaded == before;
    assign whole = offers;
    assign wrong = offers && !(over && alike && offered == loaded) || !reset && load && over && alike;

    always @($global_clock) begin
        age <= age >= IDLE ? age : age + 1'b1;
        since <= passed >= ANSWER ? ANSWER : passed + 1'b1;
        stages <= now; latch_was <= latch && !reset; clock_was <= clock; valid_was <= valid;
        if (latch) loaded <= want_held;
        if (load) before <= loaded;
        reads <= reset || offers || load && over ? 2'd0 : fall && !over ? reads + 2'd1 : reads;
    end
endmodule
