"""The steps by which the tables of a store came to be; run by the program itself when it opens one."""
