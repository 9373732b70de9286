// The reader and its pad.
module padbench_top (
    input want_start, want_noise, input [7:0] want_held,
    output wrong, whole, compared, latch, clock, serial, output [7:0] held
);
    wire reset, data, start, valid, latch_port, clock_port, valid_port;
    wire [7:0] held_port;
    assign latch = {latch}latch_port, clock = {clock}clock_port, held = want_held;
    assign compared = 1'b0, serial = 1'b0;
    reg clk = 1;
    always @($global_clock) clk <= ~clk;
    padbench_pad #({given}) pad (
        .want_start(want_start), .want_noise(want_noise), .want_held(want_held), .latch(latch),
        .clock(clock), .valid({valid}valid_port), .offered({held}held_port), .start(start),
        .reset(reset), .data(data), .wrong(wrong), .whole(whole)
    );
    {rest}
    \{name} design (
        {connected}
    );
endmodule
