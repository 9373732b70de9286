`timescale 1ns / 1ns
module bench;
  reg latch, clock;
  reg [7:0] held;
  wire data;
  pad pad (.latch(latch), .clock(clock), .held(held), .data(data));

  integer bit_number;
  // One read; before the sample of bit `stopped` the clock pulses once too often.
  task read(input [7:0] buttons, input integer stopped);
    begin
      held = buttons;
      #2000 latch = 1;
      #8900 latch = 0;
      #5400;
      for (bit_number = 1; bit_number <= 8; bit_number = bit_number + 1) begin
        clock = 0;
        #560 clock = 1;
        if (bit_number == stopped) begin
          #560 clock = 0;
          #560 clock = 1;
        end
        #5590;
      end
      #50000;
    end
  endtask

  initial begin
    $dumpfile("bench.vcd");
    $dumpvars(0, bench);
    latch = 0;
    clock = 1;
    held = 0;
    read(8'h00, 0);
    read(8'h80, 0);
    read(8'h01, 0);
    read(8'h5a, 0);
    read(8'h00, 8);
    read(8'hc3, 3);
    read(8'hff, 0);
    $finish;
  end
endmodule
