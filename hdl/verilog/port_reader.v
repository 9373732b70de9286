// The console side: on start it makes the latch and eight clocks, samples data at the end of each
// low part of the clock, and offers the byte with a strobe.
//
// With PASSES = 2 it reads twice and strobes only when both agree (the usual cure for a read that
// was clocked once too often); start it again to try again. Times are in cycles of clk; the
// defaults make the plain poll of about one scan line at 12 MHz.
module port_reader #(
    parameter LATCH_CYCLES   = 107,  // latch high
    parameter LATCH_TO_CLOCK = 65,   // latch low, before the first clock
    parameter CLOCK_LOW      = 7,
    parameter CLOCK_HIGH     = 67,
    parameter PASSES         = 1     // 1 or 2
) (
    input  wire       clk,
    input  wire       reset,         // synchronous, active high
    input  wire       start,
    output reg        latch,
    output reg        clock,
    input  wire       data,          // low is pressed
    output reg  [7:0] held,          // 1 is pressed; A is bit 7, Right is bit 0
    output reg        valid          // high for one cycle
);
    localparam IDLE = 3'd0, LATCHED = 3'd1, SETTLE = 3'd2, LOW = 3'd3, HIGH = 3'd4;

    reg [2:0]  state;
    reg [15:0] left;
    reg [2:0]  place;
    reg        again;
    reg [7:0]  bits, first;
    reg [1:0]  data_in;

    always @(posedge clk) begin
        data_in <= {data_in[0], data};
        valid   <= 1'b0;
        if (left != 16'd0)
            left <= left - 16'd1;
        else case (state)
            IDLE: if (start) begin
                again <= 1'b0;
                latch <= 1'b1;
                left  <= LATCH_CYCLES - 1;
                state <= LATCHED;
            end
            LATCHED: begin
                latch <= 1'b0;
                place <= 3'd7;
                left  <= LATCH_TO_CLOCK - 1;
                state <= SETTLE;
            end
            SETTLE: begin
                clock <= 1'b0;
                left  <= CLOCK_LOW - 1;
                state <= LOW;
            end
            LOW: begin
                bits[place] <= ~data_in[1];
                clock       <= 1'b1;
                left        <= CLOCK_HIGH - 1;
                state       <= HIGH;
            end
            HIGH: if (place != 3'd0) begin
                place <= place - 3'd1;
                clock <= 1'b0;
                left  <= CLOCK_LOW - 1;
                state <= LOW;
            end else if (PASSES == 2 && !again) begin
                first <= bits;
                again <= 1'b1;
                latch <= 1'b1;
                left  <= LATCH_CYCLES - 1;
                state <= LATCHED;
            end else begin
                if (PASSES == 1 || bits == first) begin
                    held  <= bits;
                    valid <= 1'b1;
                end
                state <= IDLE;
            end
            default: state <= IDLE;
        endcase
        if (reset) begin
            state   <= IDLE;
            left    <= 16'd0;
            latch   <= 1'b0;
            clock   <= 1'b1;
            held    <= 8'd0;
            data_in <= 2'b11;
        end
    end
endmodule
