// The design and its console.
module padbench_top (
    input want_latch, want_clock, want_serial, input [7:0] want_held,
    output wrong, whole, compared, latch, clock, serial, output [7:0] held
);
    wire reset, data;
    wire [7:0] passed;
    wire [{most}:0] pressed = {pressed}, passed_on = {passed_on};
    reg clk = 1;
    always @($global_clock) clk <= ~clk;
    padbench_console #({given}) console (
        .want_latch(want_latch), .want_clock(want_clock), .want_serial({serial}),
        .want_held(want_held), .data({data}data), .inputs(~passed_on), .latch(latch),
        .clock(clock), .serial(serial), .reset(reset), .held(held), .passed(passed),
        .wrong(wrong), .whole(whole), .compared(compared)
    );
    {rest}
    \{name} design (
        {connected}
    );
endmodule
