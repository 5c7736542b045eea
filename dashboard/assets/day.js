/* The sheet of the day: its one button. */
document.getElementById("print").addEventListener("click", function () { window.print(); });
