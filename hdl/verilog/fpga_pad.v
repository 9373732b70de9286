// A pad inside an FPGA: everything from outside comes through two flip-flops into the system clock.
//
// The buttons pass as many flip-flops as the latch does, so what is loaded last is what was held
// when the latch fell. An edge of latch or clock shows on data at the third rise of clk after it.
// The clock line idles high and shifts on its rise; serial enters stage 1 (bit 0 of buttons).
module fpga_pad #(
    parameter STAGES = 8
) (
    input  wire              clk,
    input  wire              reset,    // synchronous, active high
    input  wire              latch,
    input  wire              clock,
    input  wire              serial,
    input  wire [STAGES-1:0] buttons,  // low is pressed
    output wire              data      // low is pressed
);
    reg [1:0] latch_in, clock_in, serial_in;
    reg [STAGES-1:0] buttons_meta, buttons_in, stages;
    reg clock_was;

    always @(posedge clk) begin
        latch_in     <= {latch_in[0], latch};
        clock_in     <= {clock_in[0], clock};
        serial_in    <= {serial_in[0], serial};
        buttons_meta <= buttons;
        buttons_in   <= buttons_meta;
        clock_was    <= clock_in[1];
        if (latch_in[1])
            stages <= buttons_in;
        else if (clock_in[1] && !clock_was)
            stages <= (stages << 1) | serial_in[1];
        if (reset) begin
            latch_in  <= 2'b00;
            clock_in  <= 2'b11;
            clock_was <= 1'b1;
            stages    <= {STAGES{1'b1}};
        end
    end

    assign data = stages[STAGES-1];
endmodule
