; Reads the pads on both ports twice, together. Old states and results at pad1 and pad2: each is
; replaced only if both passes agree on it.

port1   = $4016
port2   = $4017
pad1    = $00
pad2    = $01
first1  = $02
first2  = $03
new1    = $04
new2    = $05

read:
        jsr pass
        lda new1
        sta first1
        lda new2
        sta first2
        jsr pass
        lda new1
        cmp first1
        bne second
        sta pad1
second:
        lda new2
        cmp first2
        bne done
        sta pad2
done:
        rts

pass:
        lda #$01
        sta port1
        sta new2
        lsr a
        sta port1
loop:
        lda port1
        lsr a
        rol new1
        lda port2
        lsr a
        rol new2
        bcc loop
        rts
; padbench: result pad1,pad2
