select seq, hash from ledger.head
