; Reads the pads on both ports together, once. Results at pad1 and pad2.

port1   = $4016
port2   = $4017
pad1    = $00
pad2    = $01

read:
        lda #$01
        sta port1           ; one latch for both ports
        sta pad2            ; a marker that eight shifts push out
        lsr a
        sta port1
loop:
        lda port1
        lsr a
        rol pad1
        lda port2
        lsr a
        rol pad2            ; the marker comes out last
        bcc loop
        rts
; padbench: result pad1,pad2
